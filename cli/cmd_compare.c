/* plumb compare: is this capture what a healthy circuit produces? */
#include "collection.h"
#include "command.h"
#include "input.h"
#include "message.h"
#include "next_step.h"
#include "output.h"

#include <plumbline/collection.h>
#include <plumbline/core.h>
#include <plumbline/report.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const cli_option opt_reference = {
    "reference", 0, "FILE|type/name[@N]", false,
    "The known-good to compare with: a file as plumb learn writes it, or one of the collection. Without it the capture is only "
    "guessed at."};
static const cli_option opt_again = {
    "again", 0, "VERDICT", false,
    "Make the comparison of this verdict (JSON, of one capture) again, with the same version of the known-good, and say whether it "
    "comes out the same. Exit status 0: the same, 1: it differs."};
static const cli_option opt_connected = {
    "connected", 0, NULL, false,
    "The circuit is known to be connected, so a missing signal is a fault, not a bad connection."};
static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON for each capture (verdict/1)."};
static const cli_option opt_svg = {"svg", 0, "FILE", false,
                                   "Draw the capture over its good range into this file. One capture only."};

static const cli_option opt_sections = {
    "sections", 0, NULL, false,
    "Print the sentence and the table of every section, not only of those that need a look."};

static const cli_option *const options[] = {
    &opt_reference, &cli_opt_collection, &cli_opt_channel, &cli_opt_rate, &cli_opt_condition,  &opt_connected,
    &opt_sections,  &opt_json,        &opt_svg,      &cli_opt_files_from, &opt_again, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

/* All that stays the same from capture to capture. */
typedef struct setting {
  const cli_inputs *inputs;
  const plb_judge *judge; /* NULL: no known-good is to be had */
  plb_compare_options compare;
  plb_request request;
  bool json, sections;
  const char *svg;
  plb_text_style style;
  int width;
} setting;

typedef struct answer {
  char *text; /* to be printed, NULL after a failure */
  int exit_status;
  plb_error err;
} answer;

static int exit_of_word(plb_word word) {
  static const int exits[] = {[PLB_AGREES] = CLI_OK,
                              [PLB_BORDERLINE] = CLI_BORDERLINE,
                              [PLB_DEPARTS] = CLI_DEPARTS,
                              [PLB_UNJUDGED] = CLI_UNJUDGED};
  return exits[word];
}

static plb_status draw(const plb_verdict *verdict, const char *path, plb_error *err) {
  char *svg = NULL;
  plb_status status = plb_report_svg(&svg, verdict, err);
  if (status == PLB_OK)
    status = plb_file_write(path, svg, strlen(svg), err);
  free(svg);
  return status;
}

static plb_status say(const setting *s, const plb_verdict *verdict, char **text, plb_error *err) {
  plb_status status = PLB_OK;
  if (s->json)
    status = plb_report_json(text, verdict, &s->request, err);
  else if (s->sections)
    status = plb_report_sections_text(text, verdict, s->style, s->width, err);
  else
    status = plb_report_text(text, verdict, s->style, s->width, err);
  if (status == PLB_OK && s->svg)
    status = draw(verdict, s->svg, err);
  return status;
}

static plb_status judge_against_reference(const setting *s, const plb_capture *capture, answer *out) {
  plb_verdict *verdict = NULL;
  plb_status status = plb_judge_capture(&verdict, s->judge, capture, &s->compare, &out->err);
  if (status == PLB_OK)
    status = say(s, verdict, &out->text, &out->err);
  if (status == PLB_OK)
    out->exit_status = exit_of_word(verdict->word);
  plb_verdict_free(verdict);
  return status;
}

static plb_status guess_only(const setting *s, const plb_capture *capture, answer *out) {
  plb_verdict *verdict = NULL;
  plb_status status =
      cli_next_step(capture, s->inputs, s->json ? NULL : &out->text, s->json ? &verdict : NULL, &out->err);
  if (status == PLB_OK && s->json)
    status = plb_report_json(&out->text, verdict, &s->request, &out->err);
  out->exit_status = CLI_UNJUDGED;
  plb_verdict_free(verdict);
  return status;
}

/* Judge one capture into words; nothing is printed here, so that captures can be judged side by side. */
static void judge(const setting *s, size_t index, answer *out) {
  plb_capture *capture = NULL;
  *out = (answer){NULL, CLI_OK, PLB_ERROR_INIT};
  plb_status status = cli_inputs_read(s->inputs, index, &capture, &out->err);
  if (status == PLB_OK)
    status = s->judge ? judge_against_reference(s, capture, out) : guess_only(s, capture, out);
  if (status != PLB_OK) {
    free(out->text);
    out->text = NULL;
    out->err.status = status;
  }
  plb_capture_free(capture);
}

static int print(const setting *s, size_t index, answer *a) {
  if (!a->text)
    return cli_fail(&a->err);
  if (index > 0 && !s->json)
    cli_output_text("\n");
  cli_output_text(a->text);
  return a->exit_status;
}

/* Captures are judged several at a time and told in the order given; a file that fails does not stop the others. */
static int judge_all(const setting *s) {
  int exit_status = CLI_OK;
  const long count = (long)s->inputs->count;
#pragma omp parallel for ordered schedule(dynamic, 1) if (count > 1)
  for (long i = 0; i < count; i++) {
    answer a;
    judge(s, (size_t)i, &a);
#pragma omp ordered
    {
      cli_progress("captures compared", (size_t)i + 1, (size_t)count);
      exit_status = cli_exit_worst(exit_status, print(s, (size_t)i, &a));
    }
    free(a.text);
  }
  return exit_status;
}

static int check_svg(const cli_inputs *inputs, const cli_arguments *arguments) {
  const char *svg = cli_value(arguments, &opt_svg);
  const char *reference = cli_value(arguments, &opt_reference);
  if (!svg)
    return 0;
  if (inputs->count > 1)
    return cli_usage(arguments->command, "--svg draws one capture, but %zu are named; give one", inputs->count);
  if (!reference)
    return cli_usage(arguments->command, "--svg draws over the good range of a known-good; give --reference FILE");
  if (cli_same_file(svg, inputs->item[0].path) || cli_same_file(svg, reference))
    return cli_usage(arguments->command, "--svg %s would overwrite an input; choose another name", svg);
  return cli_output_possible(svg);
}

static void set(setting *s, const cli_inputs *inputs, const cli_arguments *arguments) {
  *s = (setting){.inputs = inputs, .compare = PLB_COMPARE_OPTIONS_INIT};
  s->json = cli_given(arguments, &opt_json);
  s->sections = cli_given(arguments, &opt_sections);
  s->svg = cli_value(arguments, &opt_svg);
  s->style = cli_output_coloured() ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN;
  s->width = cli_output_width();
  s->compare.stated = inputs->condition;
  s->compare.stated_count = inputs->conditions;
  s->compare.connected = cli_given(arguments, &opt_connected);
  s->compare.drawing = s->json || s->svg;
  s->request = (plb_request){inputs->channel_text, inputs->channels,        inputs->condition_text,
                             inputs->conditions,   inputs->reading.rate_hz, s->compare.connected,
                             (const char *const *)inputs->conditioning_text, inputs->conditionings};
}

/* A known-good made ready, from a file or from the collection. */
typedef struct known_good {
  plb_reference *reference;
  plb_judge *judge;
  char status[PLB_NAME_SIZE];
} known_good;

static plb_status load(known_good *out, const cli_arguments *arguments, const char *selector, plb_error *err) {
  plb_status status = plb_collection_load(&out->reference, selector, cli_value(arguments, &cli_opt_collection), out->status, err);
  return status == PLB_OK ? plb_judge_new(&out->judge, out->reference, err) : status;
}

static void dispose(known_good *k) {
  plb_judge_free(k->judge);
  plb_reference_free(k->reference);
}

static void set_reference(setting *s, const known_good *k, const char *selector) {
  s->judge = k->judge;
  s->compare.reference_status = k->status;
  s->compare.reference_path = strcmp(k->status, "file") == 0 ? selector : NULL;
}

static int compare(const cli_inputs *inputs, const cli_arguments *arguments) {
  setting s;
  plb_error err = PLB_ERROR_INIT;
  known_good known = {NULL, NULL, ""};
  int status = CLI_OK;
  const char *selector = cli_value(arguments, &opt_reference);
  if (selector && load(&known, arguments, selector, &err) != PLB_OK) {
    status = cli_fail(&err);
    goto done;
  }
  set(&s, inputs, arguments);
  if (selector)
    set_reference(&s, &known, selector);
  status = judge_all(&s);
done:
  dispose(&known);
  return status;
}

static int refuse_changed(const char *path, const char *what) {
  plb_error err = {PLB_EDATA, "", 0, 0, -1, ""};
  snprintf(err.path, sizeof err.path, "%s", path);
  snprintf(err.message, sizeof err.message, "%s is no longer the one of the verdict; its SHA-256 differs", what);
  return cli_fail(&err);
}

/* The verdict's own request, judged once more. */
static plb_status judge_again(const plb_again *again, const known_good *known, plb_capture **capture, plb_verdict **verdict, plb_error *err) {
  plb_compare_options how = PLB_COMPARE_OPTIONS_INIT;
  plb_read_options reading = PLB_READ_OPTIONS_INIT;
  plb_channel_map *map = calloc(again->channels + 1, sizeof *map);
  plb_stated *stated = calloc(again->conditions + 1, sizeof *stated);
  plb_conditioning *conditioning = calloc(again->conditionings + 1, sizeof *conditioning);
  plb_status status = map && stated && conditioning ? PLB_OK : PLB_ENOMEM;
  reading.rate_hz = again->rate_hz;
  for (size_t i = 0; status == PLB_OK && i < again->channels; i++)
    status = plb_channel_map_parse(again->channel[i], &map[i], err);
  for (size_t i = 0; status == PLB_OK && i < again->conditions; i++)
    status = plb_stated_parse(again->condition[i], &stated[i], err);
  if (status == PLB_OK)
    status = plb_capture_open(capture, again->capture_path, &reading, err);
  if (status == PLB_OK && again->channels > 0)
    status = plb_capture_assign(*capture, map, again->channels, err);
  for (size_t i = 0; status == PLB_OK && i < again->conditionings; i++)
    status = cli_conditioning_parse(again->conditioning[i], &conditioning[i], err);
  if (status == PLB_OK)
    status = plb_capture_condition(*capture, conditioning, again->conditionings, err);
  how.stated = stated;
  how.stated_count = again->conditions;
  how.connected = again->connected;
  how.drawing = false;
  if (status == PLB_OK)
    status = plb_judge_capture(verdict, known->judge, *capture, &how, err);
  free(map);
  free(stated);
  free(conditioning);
  return status;
}

static bool same_score(double a, double b) {
  return a == b || (a != a && b != b) || (a - b < 1e-6 * b && b - a < 1e-6 * b);
}

static int say_again(const plb_again *again, const plb_verdict *verdict) {
  char text[512];
  const bool same = verdict->word == again->word && same_score(verdict->score, again->score);
  snprintf(text, sizeof text, "%s: %s, score %.6g; the verdict said %s, score %.6g\n", same ? "Comes out the same" : "Comes out differently",
           plb_word_plain(verdict->word), verdict->score, plb_word_plain(again->word), again->score);
  cli_output_text(text);
  return same ? CLI_OK : CLI_DEPARTS;
}

static int compare_again(const cli_arguments *arguments) {
  plb_error err = PLB_ERROR_INIT;
  plb_again *again = NULL;
  plb_capture *capture = NULL;
  plb_verdict *verdict = NULL;
  known_good known = {NULL, NULL, ""};
  int status = CLI_OK;
  if (plb_again_read(&again, cli_value(arguments, &opt_again), &err) != PLB_OK ||
      load(&known, arguments, again->reference, &err) != PLB_OK)
    status = cli_fail(&err);
  else if (strcmp(plb_reference_sha256(known.reference), again->reference_sha256) != 0)
    status = refuse_changed(again->reference, "the known-good");
  else if (judge_again(again, &known, &capture, &verdict, &err) != PLB_OK)
    status = cli_fail(&err);
  else if (strcmp(plb_capture_sha256(capture), again->capture_sha256) != 0)
    status = refuse_changed(again->capture_path, "the capture");
  else
    status = say_again(again, verdict);
  plb_verdict_free(verdict);
  plb_capture_free(capture);
  plb_again_free(again);
  dispose(&known);
  return status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  inputs.told = true;
  if (status == 0 && cli_given(arguments, &opt_again)) {
    status = inputs.count > 0 ? cli_usage(arguments->command, "--again takes the capture from the verdict; name no other")
                              : compare_again(arguments);
    cli_inputs_dispose(&inputs);
    return status;
  }
  if (status == 0 && inputs.count == 0)
    status = cli_usage(arguments->command, "no capture is named; give a file");
  if (status == 0)
    status = check_svg(&inputs, arguments);
  if (status == 0)
    status = compare(&inputs, arguments);
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_compare = {
    "compare",
    "does a capture match a known-good, and if not, where",
    "[--reference FILE] [options] CAPTURE...",
    "Says first in one sentence whether the capture matches, where it departs, how often, and what to check first; "
    "then "
    "shows the sections of the cycle, the readings, where the known-good comes from and what can be promised.\n"
    "\"Cannot tell\" comes before a wrong answer: an unusable recording, a likely measuring mistake or conditions the "
    "known-good does not speak for are named, with the quickest test.\n"
    "Without --reference it prints what the capture seems to be and the command to run next.\n"
    "Of several captures, a file that cannot be read gives its message and the others go on; the exit status is an "
    "error "
    "first, then 1, 2, 3, 0.",
    "  plumb compare trace.txt --reference ref.xml --channel crank=2:V\n"
    "  plumb compare trace.txt --reference ref.xml --condition load=half --svg trace.svg\n"
    "  plumb compare --reference ref.xml --json *.csv > verdicts.jsonl\n"
    "  plumb compare trace.txt",
    options,
    run};
