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

/* What was found, then what to check first as far as it fits: the check is left out rather than cut in the middle. */
static void say_finding(plb_verdict *v) {
  const plb_finding *f = &v->finding[0];
  const size_t size = sizeof v->sentence;
  const int length = plb_text_print(v->sentence, size, "%s", f->text);
  if (length < 0 || (size_t)length >= size || f->check_first[0][0] == '\0') {
    return;
  }
  char check[PLB_TEXT_SIZE + 32];
  const int more = plb_text_print(check, sizeof check, "; first check %s", f->check_first[0]);
  if (more > 0 && (size_t)(length + more) < size) {
    memcpy(v->sentence + length, check, (size_t)more + 1);
  }
}

void plb_explain_sentence(plb_verdict *v, const plb_judge *judge) {
  const plb_reference *ref = judge->reference;
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
