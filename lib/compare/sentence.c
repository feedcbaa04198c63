#include "compare/explain.h"
#include <math.h>
#include <string.h>

const char *plb_word_name(plb_word word) {
  static const char *const name[] = {"agrees", "borderline", "departs", "unjudged"};
  return name[word];
}

const char *plb_word_plain(plb_word word) {
  static const char *const name[] = {"matches known-good", "doubtful", "does not match", "cannot tell"};
  return name[word];
}

const char *plb_finding_kind_name(plb_finding_kind kind) {
  static const char *const name[] = {"structural", "reading", "band", "frequency"};
  return name[kind];
}

/* What was found, then what to check first as far as it fits: without its explanation behind a colon, or left out, rather than cut in the middle. */
static void say_finding(plb_verdict *v) {
  const plb_finding *f = &v->finding[0];
  const size_t size = sizeof v->sentence;
  const int length = plb_text_print(v->sentence, size, "%s", f->text);
  if (length < 0 || (size_t)length >= size || f->check_first[0][0] == '\0') {
    return;
  }
  const size_t whole = strlen(f->check_first[0]), brief = strcspn(f->check_first[0], ":(");
  const size_t room = size - 1 - (size_t)length, lead = strlen("; first check ");
  const size_t taken = lead + whole <= room ? whole : brief;
  if (lead + taken <= room) {
    plb_text_print(v->sentence + length, size - (size_t)length, "; first check %.*s", (int)taken, f->check_first[0]);
    for (size_t end = strlen(v->sentence); v->sentence[end - 1] == ' '; end--) {
      v->sentence[end - 1] = '\0';
    }
  }
}

static bool is_unstated(const plb_verdict *v, const char *condition) {
  char begin[PLB_NAME_SIZE + 8];
  plb_text_print(begin, sizeof begin, "if %s is ", condition);
  for (size_t i = 0; i < v->condition_notes; i++) {
    if (strncmp(v->condition_note[i], begin, strlen(begin)) == 0) {
      return true;
    }
  }
  return false;
}

/* A known-good that speaks for one load, and a capture that does not say its own: more or less than usual is the load first of all. */
static void ask_for_load(plb_verdict *v, const plb_reference *ref) {
  for (size_t i = 0; i < ref->conditions; i++) {
    const plb_condition *c = &ref->condition[i];
    if (strcmp(c->name, "load") != 0 || !is_unstated(v, c->name)) {
      continue;
    }
    char text[PLB_TEXT_SIZE];
    if (c->word[0] != '\0') {
      plb_text_say(text, sizeof text, "load: known-good is at load %s", c->word);
    } else {
      plb_text_say(text, sizeof text, "load: known-good is at load %.6g to %.6g", c->low, c->high);
    }
    for (size_t k = 0; k < v->findings; k++) {
      plb_finding *f = &v->finding[k];
      const bool sized = strcmp(f->direction, "high") == 0 || strcmp(f->direction, "low") == 0;
      if (f->kind != PLB_FINDING_STRUCTURAL && sized) {
        plb_check_before(f, text);
      }
    }
  }
}

void plb_explain_sentence(plb_verdict *v, const plb_judge *judge) {
  const plb_reference *ref = judge->reference;
  ask_for_load(v, ref);
  if (v->word == PLB_UNJUDGED) {
    for (size_t i = 0; i < v->reasons; i++) {
      if (v->reason[i].blocks) {
        plb_text_say(v->sentence, sizeof v->sentence, "%s", v->reason[i].text);
        return;
      }
    }
    for (size_t i = 0; i < v->fitnesses; i++) {
      if (v->fitness[i].blocks) {
        plb_text_say(v->sentence, sizeof v->sentence, "%s", v->fitness[i].text);
        return;
      }
    }
  }
  if (v->word == PLB_AGREES && v->reference.provenance == PLB_STANDARD) {
    return; /* said where the limits were judged */
  }
  if (v->word == PLB_AGREES) {
    plb_text_say(v->sentence, sizeof v->sentence, "shape, timing and size are like the %zu good captures over %u %s (score %.2f, limit %.2f)",
                 ref->exemplars, v->cycles.judged, plb_unit_of_cycle(ref, v->cycles.judged), v->score, v->limit);
  } else if (v->findings > 0) {
    say_finding(v);
  } else {
    plb_text_say(v->sentence, sizeof v->sentence, "further from known-good than healthy captures get (score %.2f, limit %.2f)", v->score,
                 v->limit);
  }
}
