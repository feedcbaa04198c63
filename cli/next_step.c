#include "next_step.h"

#include <plumbline/collection.h>
#include <plumbline/report.h>

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COMMAND_SIZE = 8192, ANSWER_SIZE = 8 * COMMAND_SIZE };

/* The words of a command line or of an answer, cut to fit. */
typedef struct words {
  char *text;
  size_t size, length;
} words;

static void add(words *to, const char *format, ...) PLB_PRINTF(2, 3);
static void add(words *to, const char *format, ...) {
  va_list values;
  va_start(values, format);
  const int wrote = vsnprintf(to->text + to->length, to->size - to->length, format, values);
  va_end(values);
  if (wrote > 0)
    to->length += (size_t)wrote < to->size - to->length ? (size_t)wrote : to->size - to->length - 1;
}

/* As a shell takes it: quoted only when it must be. */
static void add_quoted(words *to, const char *text) {
  static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-+/=:,%@";
  if (*text && *text != '-' && text[strspn(text, plain)] == '\0') {
    add(to, "%s", text);
    return;
  }
  add(to, *text == '-' ? "./'" : "'");
  for (; *text; text++) {
    if (*text == '\'')
      add(to, "'\\''");
    else
      add(to, "%c", *text);
  }
  add(to, "'");
}

/* The role of a guessed type: the first word of its slug ("crank-inductive" -> "crank"). */
static void role_of(const plb_guess *guess, char out[PLB_NAME_SIZE]) {
  const char *source = guess->type[0] ? guess->type : guess->channel;
  snprintf(out, PLB_NAME_SIZE, "%.*s", (int)strcspn(source, "-"), source);
}

/* --channel as the user gave it, else as guessed. A capture without units is taken to be in volts, and told so. */
static void add_channels(words *to, const cli_inputs *inputs, const plb_capture *capture, const plb_guess *guess) {
  for (size_t i = 0; i < inputs->channels; i++) {
    add(to, " --channel ");
    add_quoted(to, inputs->channel_text[i]);
  }
  if (inputs->channels == 0 && guess) {
    char role[PLB_NAME_SIZE];
    char text[2 * PLB_NAME_SIZE];
    role_of(guess, role);
    const int channel = plb_capture_find(capture, guess->channel);
    const char *unit = channel >= 0 ? plb_capture_unit(capture, (size_t)channel) : "1";
    snprintf(text, sizeof text, "%s=%d:%s", role, guess->column, strcmp(unit, "1") == 0 ? "V" : unit);
    add(to, " --channel ");
    add_quoted(to, text);
  }
  if (inputs->reading.rate_hz > 0)
    add(to, " --rate %.15gHz", inputs->reading.rate_hz);
}

static void make_learn_command(words *to, const cli_inputs *inputs, const plb_capture *capture,
                               const plb_guess *guess) {
  add(to, "plumb learn --type %s --name my/known-good --cycle %s", guess && guess->type[0] ? guess->type : "unknown",
      guess && guess->cycle[0] ? guess->cycle : "once");
  add_channels(to, inputs, capture, guess);
  add(to, " GOOD-1 GOOD-2 GOOD-3 -o ref.xml");
}

static void make_compare_command(words *to, const cli_inputs *inputs, const plb_capture *capture,
                                 const plb_guess *guess) {
  add(to, "plumb compare ");
  add_quoted(to, plb_capture_path(capture));
  add(to, " --reference ref.xml");
  add_channels(to, inputs, capture, guess);
}

static const char no_known_good[] = "no known-good is named to compare with";

enum { KNOWN_MOST = 8 };

/* The channel as the known-good calls it, where it has but one. */
static void add_role(words *to, const char *name, const plb_capture *capture, const plb_guess *guess) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *reference = NULL;
  if (plb_collection_load(&reference, name, NULL, NULL, &err) == PLB_OK && plb_reference_channels(reference) == 1) {
    const int channel = plb_capture_find(capture, guess->channel);
    const char *unit = channel >= 0 ? plb_capture_unit(capture, (size_t)channel) : "1";
    add(to, " --channel %s=%d:%s", plb_reference_role(reference, 0), guess->column, strcmp(unit, "1") == 0 ? plb_reference_unit(reference, 0) : unit);
  }
  plb_reference_free(reference);
}

/* What the collection has of the guessed type, as commands. */
static void make_known_commands(words *to, const cli_inputs *inputs, const plb_capture *capture, const plb_guess *guess) {
  char folder[PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  plb_collection *collection = NULL;
  plb_collection_filter filter = PLB_COLLECTION_FILTER_INIT;
  plb_entry *entry = NULL;
  size_t count = 0;
  if (!guess || !guess->type[0] || plb_collection_where(NULL, folder, NULL, &err) != PLB_OK ||
      plb_collection_open(&collection, folder, &err) != PLB_OK)
    return;
  filter.type = guess->type;
  if (plb_collection_find(collection, &filter, &entry, &count, &err) != PLB_OK)
    count = 0;
  for (size_t i = 0; i < count && i < KNOWN_MOST; i++) {
    add(to, "  plumb compare ");
    add_quoted(to, plb_capture_path(capture));
    add(to, " --reference %s", entry[i].name);
    if (inputs->channels > 0)
      add_channels(to, inputs, capture, guess);
    else
      add_role(to, entry[i].name, capture, guess);
    add(to, "\n");
  }
  free(entry);
  plb_collection_free(collection);
}

static void describe_recording(words *to, const plb_capture *capture) {
  const double rate_hz = plb_capture_rate_hz(capture);
  const size_t samples = plb_capture_samples(capture);
  const size_t channels = plb_capture_channels(capture);
  add(to, "capture     %s\n", plb_capture_path(capture));
  add(to, "read as     %s: %zu samples at %.6g Hz (%.4g s), %zu %s\n", plb_capture_format(capture), samples, rate_hz,
      rate_hz > 0 ? (double)samples / rate_hz : NAN, channels, channels == 1 ? "channel" : "channels");
  for (size_t i = 0; i < plb_capture_notes(capture); i++)
    add(to, "            %s\n", plb_capture_note(capture, i));
}

static void describe_guesses(words *to, const plb_capture *capture, const plb_guess *guesses, size_t count) {
  add(to, "\nguesses, and how sure they are\n");
  for (size_t i = 0; i < count; i++) {
    const plb_guess *g = &guesses[i];
    const int channel = plb_capture_find(capture, g->channel);
    const char *unit = channel >= 0 ? plb_capture_unit(capture, (size_t)channel) : "1";
    const bool unknown = strcmp(unit, "1") == 0;
    add(to, "  column %-3d %3.0f %%  %s\n", g->column, 100 * g->confidence,
        g->what[0] ? g->what : "nothing that is known here");
    add(to, "             unit %s; type %s; cycle %s\n", unknown ? "not in the file, taken as V" : unit,
        g->type[0] ? g->type : "unknown", g->cycle[0] ? g->cycle : "unknown");
  }
  if (count == 0)
    add(to, "  none: no channel shows anything that is known here\n");
}

static char *make_text(const plb_capture *capture, const plb_guess *guesses, size_t count, const char *known, const char *learn,
                       const char *compare) {
  words text = {malloc(ANSWER_SIZE), ANSWER_SIZE, 0};
  if (!text.text)
    return NULL;
  add(&text, "Cannot tell: %s\n\n", no_known_good);
  describe_recording(&text, capture);
  describe_guesses(&text, capture, guesses, count);
  if (known[0])
    add(&text, "\nnext: the collection holds known-goods of this type; compare with the one whose kind and state fit\n"
               "(\"plumb collection list\" says what they are, \"plumb connect\" how they are connected):\n\n%s",
        known);
  add(&text,
      "\n%s take at least 3 captures like this one on healthy circuits, under like conditions, and make a\n"
      "known-good of them (put their files for GOOD-1 ...; correct what was guessed wrong):\n\n  %s\n\n"
      "then, or at once when you have a known-good in ref.xml:\n\n  %s\n",
      known[0] ? "better:" : "next:", learn, compare);
  return text.text;
}

/* A verdict that judges nothing: every number is unknown. */
static plb_verdict *make_verdict(const plb_capture *capture, const char *learn, const char *compare) {
  plb_verdict *v = calloc(1, sizeof *v);
  plb_reason *reason = calloc(1, sizeof *reason);
  if (!v || !reason) {
    free(v);
    free(reason);
    return NULL;
  }
  v->word = PLB_UNJUDGED;
  snprintf(v->sentence, sizeof v->sentence, "%s", no_known_good);
  v->score = v->limit = v->guard = v->guard_robust = v->p_value = v->promise = v->promise_upper90 = NAN;
  v->alignment.shift_s = v->alignment.scale = v->alignment.gain = v->alignment.offset = NAN;
  v->alignment.correlation = v->alignment.runner_up = NAN;
  v->cycles.p_chance = v->cycles.rate_hz = v->landmark_phase_first = NAN;
  reason->kind = PLB_REASON_CONDITIONS;
  reason->blocks = true;
  snprintf(reason->code, sizeof reason->code, "no-reference");
  snprintf(reason->text, sizeof reason->text, "%s", no_known_good);
  /* The whole command when it fits; a path too long for the field would make it wrong, so then say where to look. */
  const char *action = strlen(learn) < PLB_TEXT_SIZE ? learn : compare;
  const char *whole = strlen(action) < PLB_TEXT_SIZE ? action : "give --reference FILE; see \"plumb learn --help\"";
  memcpy(reason->action, whole, strlen(whole) + 1);
  v->reason = reason;
  v->reasons = 1;
  snprintf(v->capture.path, sizeof v->capture.path, "%s", plb_capture_path(capture));
  snprintf(v->capture.sha256, sizeof v->capture.sha256, "%s", plb_capture_sha256(capture));
  v->capture.rate_hz = plb_capture_rate_hz(capture);
  v->capture.samples = plb_capture_samples(capture);
  return v;
}

plb_status cli_next_step(const plb_capture *capture, const cli_inputs *inputs, char **text_out,
                         plb_verdict **verdict_out, plb_error *err) {
  plb_guess *guesses = NULL;
  size_t count = 0;
  const plb_status status = plb_guess_capture(&guesses, &count, capture, err);
  if (status != PLB_OK)
    return status;
  char learn[COMMAND_SIZE] = "";
  char compare[COMMAND_SIZE] = "";
  char known[COMMAND_SIZE] = "";
  const plb_guess *best = count > 0 ? &guesses[0] : NULL;
  make_learn_command(&(words){learn, sizeof learn, 0}, inputs, capture, best);
  make_compare_command(&(words){compare, sizeof compare, 0}, inputs, capture, best);
  make_known_commands(&(words){known, sizeof known, 0}, inputs, capture, best);
  bool made = true;
  if (text_out) {
    *text_out = make_text(capture, guesses, count, known, learn, compare);
    made = *text_out != NULL;
  }
  if (verdict_out) {
    *verdict_out = make_verdict(capture, learn, compare);
    made = made && *verdict_out;
  }
  free(guesses);
  if (made)
    return PLB_OK;
  if (err)
    *err = (plb_error){.status = PLB_ENOMEM, .byte = -1, .message = "memory is short; give a shorter capture"};
  return PLB_ENOMEM;
}
