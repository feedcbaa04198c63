/*
 * Is the sentence about a fault one that can be acted on? It must say where (section, mark, tooth, frequencies, or that it is the whole trace), which
 * way, and how often where cycles can differ; name the channel where there are several; and hold no number that is none.
 */
#include "evaluate.h"
#include "core/core.h"
#include <ctype.h>
#include <math.h>
#include <string.h>

/* `word` stands in `text` by itself. */
static bool has_word(const char *text, const char *word) {
  const size_t n = strlen(word);
  for (const char *p = strstr(text, word); p; p = strstr(p + 1, word))
    if ((p == text || !isalnum((unsigned char)p[-1])) && !isalnum((unsigned char)p[n]))
      return true;
  return false;
}

static bool has_any(const char *text, const char *const *words) {
  bool any = false;
  for (size_t i = 0; words[i]; i++)
    any = any || has_word(text, words[i]);
  return any;
}

/* Words that say a direction, each in the language of the trade. */
static bool says_direction(const char *text, const char *direction) {
  static const struct {
    const char *direction;
    const char *const words[10];
  } list[] = {
      {"low", {"low", "lower", "below", "shorter", "slow", "seldom", "down", NULL}},
      {"high", {"high", "higher", "above", "longer", "larger", "often", "fast", "up", "uneven", NULL}},
      {"early", {"early", NULL}},
      {"late", {"late", NULL}},
      {"noisy", {"noisy", "above", NULL}},
      {"missing", {"missing", "below", NULL}},
      {"surplus", {"extra", NULL}},
      {"shape", {"unlike", "laid over", "upside down", "no whole", NULL}},
  };
  for (size_t i = 0; i < sizeof list / sizeof *list; i++)
    if (strcmp(direction, list[i].direction) == 0)
      return has_any(text, list[i].words);
  return false;
}

/* A place in the cycle, in the signal's levels, in frequency or in time; a mark or reading by its name; or the whole. */
static bool says_place(const char *text, const plb_finding *f) {
  static const char *const words[] = {"section", "sections", "tooth", "teeth", "Hz", "kHz", "MHz", "order", "orders", "whole", "swing", "amplitude",
                                      "travel",  "rate",     "shape", "cycles", "revolutions", "upside down", "pulses", "pulse", "marks", "parts", "curve", "slope", "signal", "against", NULL};
  if (f->kind == PLB_FINDING_BAND && isfinite(f->phase))
    return (strstr(text, " near ") && strstr(text, "section")) || has_word(text, "section") || has_word(text, "sections");
  return has_any(text, words) || (f->band[0] && strstr(text, f->band)) || (isfinite(f->time_s) && strstr(text, " s"));
}

static bool says_count(const char *text, const plb_finding *f) {
  return f->of <= 1 || strstr(text, " of ") != NULL || strstr(text, " over ") != NULL || strstr(text, " all ") != NULL;
}

static bool has_several_channels(const plb_verdict *v) {
  bool several = false;
  for (size_t i = 1; i < v->bands; i++)
    several = several || strcmp(v->band[i].channel, v->band[0].channel) != 0;
  return several;
}

const char *eval_words_wrong(const plb_verdict *v) {
  const plb_finding *f = v->findings > 0 ? &v->finding[0] : NULL;
  const char *text = v->sentence;
  char doubled[2 * PLB_NAME_SIZE + 8];
  if (!f || strncmp(text, f->text, strlen(f->text)) != 0)
    return "does not say the first finding";
  if (has_word(text, "nan") || has_word(text, "inf") || has_word(text, "-nan"))
    return "a number that is none";
  if (strstr(text, " 0 of ") || strncmp(text, "0 of ", 5) == 0 || strstr(text, "(0 of "))
    return "none of the cycles shows it";
  if (!f->channel[0])
    return "no channel in the finding";
  plb_text_print(doubled, sizeof doubled, "%s: %s:", f->channel, f->channel);
  if (strstr(text, doubled))
    return "the channel is said twice";
  if (has_several_channels(v) && !strstr(f->text, f->channel))
    return "several channels, and none is named";
  if (strlen(f->text) + 1 >= sizeof f->text)
    return "cut off";
  if (!says_direction(f->text, f->direction))
    return "no direction";
  if (!says_place(f->text, f))
    return "no place";
  if (!says_count(f->text, f))
    return "no count";
  return strstr(text, "; first check ") ? NULL : "nothing to check first";
}
