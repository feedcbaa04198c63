/* plumb learn: make a known-good from good captures. */
#include "collection.h"
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"
#include "type_note.h"

#include <plumbline/collection.h>
#include <plumbline/learn.h>
#include <plumbline/report.h>

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const cli_option opt_type = {
    "type", 0, "TYPE", false,
    "What was measured: crank-inductive, injector-voltage, ... Small letters, digits and dashes. An exact name: \"crank\" is another type; a name that "
    "the collection does not list is kept, with a note."};
static const cli_option opt_name = {"name", 0, "NAME", false,
                                    "What to call the known-good, within its type: bench/60-2, fleet/2.0-petrol."};
static const cli_option opt_title = {"title", 0, "TEXT", false,
                                     "One line for people. Default: made from type and name."};
static const cli_option opt_cycle = {
    "cycle", 0, "KIND[:KEY=VALUE,...]", false,
    "What repeats: wheel:teeth=60,missing=2[,revs=2]; edge:level=7V,slope=falling (levels also 50%states, 50%supply); "
    "repeat[:period=0.04s]; once; against:channel=ROLE (along another channel, whatever the speed of the hand); steady (no cycle: levels). "
    "With several channels, channel=ROLE names the one that gives the cycle."};
static const cli_option opt_bands = {"bands", 0, "N", false,
                                     "Sections of the cycle that are judged on their own, 1 to 96. Default 12."};
static const cli_option opt_alpha = {
    "alpha", 0, "SHARE", false,
    "Share of healthy captures that may be called not normal, as far as the number of captures allows. Default 0.05."};
static const cli_option opt_frequency = {
    "frequency-bands", 0, "octave|third|orders|none", false,
    "Frequency bands that are judged besides the sections: octaves or third octaves of what is left after the cycle (of the signal "
    "where there is none), or orders of the cycle. Default: octaves, except for single events and one channel against another."};
static const cli_option opt_amplitude = {
    "amplitude", 0, "ROLE=RULE", true,
    "What the size of a channel may follow: absolute, supply-proportional, speed-curve, load-proportional or free. Without it, learn "
    "proposes one from the captures and says so."};
static const cli_option opt_offset = {
    "offset", 0, "ROLE=RULE", true,
    "What the height of a channel may follow: fixed, free (as when AC coupled), supply-proportional or pegged (at a mark)."};
static const cli_option opt_group = {
    "group", 0, "NAME", true,
    "The captures after it come from this vehicle or session. Captures of one vehicle count as one."};
static const cli_option opt_group_by = {"group-by", 0, "folder", false,
                                        "Take each capture's folder as its vehicle or session."};
static const cli_option opt_date = {
    "date", 0, "DATE", false,
    "Date to write into the document, 2025-03-31 or 2025-03-31T12:00:00Z. Default: SOURCE_DATE_EPOCH, else none."};
static const cli_option opt_provenance = {"provenance", 0, "measured|modelled", false,
                                          "Where the captures come from; every verdict shows it. Default measured."};
static const cli_option opt_output = {"output", 'o', "FILE", false,
                                      "Where to write the known-good. An existing file is replaced. Without it the known-good goes "
                                      "into the collection as a draft, with its good captures."};
static const cli_option opt_like = {"like", 0, "FILE|type/name[@N]", false,
                                    "Keep that known-good's cycle, sections and what is written in it; take the good range and the "
                                    "promise from the captures named here."};
static const cli_option opt_relearn = {"relearn", 0, "type/name[@N]", false,
                                       "Learn a known-good of the collection again from its stored good captures; captures named "
                                       "here are added."};
static const cli_option opt_exclude = {"exclude", 0, "ID", true,
                                       "With --relearn: leave out the good capture with this file name, or whose SHA-256 begins so."};

static const cli_option *const options[] = {&opt_type,          &opt_name,           &opt_cycle,  &cli_opt_channel,
                                            &opt_bands,         &opt_frequency,      &opt_amplitude, &opt_offset, &cli_opt_rate,       &opt_group,  &opt_group_by,
                                            &cli_opt_condition, &opt_title,          &opt_date,   &opt_provenance,
                                            &opt_alpha,         &cli_opt_files_from, &opt_output, &opt_like,  &opt_relearn,
                                            &opt_exclude,       &cli_opt_collection, &cli_opt_author, &cli_opt_why, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

enum { DATE_SIZE = 32, RULES_MOST = 64 };

static bool digits_follow(const char *text, const char *pattern) {
  for (; *pattern; text++, pattern++)
    if (*pattern == '9' ? *text < '0' || *text > '9' : *text != *pattern)
      return false;
  return *text == '\0';
}

static bool is_date(const char *text) {
  if (!digits_follow(text, "9999-99-99") && !digits_follow(text, "9999-99-99T99:99:99Z"))
    return false;
  static const int days_of[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const int year = atoi(text);
  const int month = atoi(text + 5);
  const int day = atoi(text + 8);
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  if (month < 1 || month > 12 || day < 1 || day > days_of[month - 1] || (month == 2 && day == 29 && !leap))
    return false;
  return text[10] == '\0' || (atoi(text + 11) < 24 && atoi(text + 14) < 60 && atoi(text + 17) < 61);
}

/* A date is written only when it is given: the same captures must make the same document. */
static int choose_date(const cli_arguments *arguments, char out[DATE_SIZE], const char **date) {
  const char *given = cli_value(arguments, &opt_date);
  *date = NULL;
  if (given) {
    if (!is_date(given))
      return cli_usage(arguments->command, "--date %s is no date; write it like 2025-03-31", given);
    *date = given;
    return 0;
  }
  const char *epoch = getenv("SOURCE_DATE_EPOCH");
  if (!epoch || !*epoch)
    return 0;
  char *end = NULL;
  errno = 0;
  const long long seconds = strtoll(epoch, &end, 10);
  const time_t when = (time_t)seconds;
  struct tm utc;
  if (errno || *end || seconds < 0 || seconds > 253402300799LL || !gmtime_r(&when, &utc))
    return cli_usage(arguments->command, "SOURCE_DATE_EPOCH=%s is no number of seconds; unset it or correct it", epoch);
  strftime(out, DATE_SIZE, "%Y-%m-%dT%H:%M:%SZ", &utc);
  *date = out;
  return 0;
}

static int choose_alpha(const cli_arguments *arguments, double *alpha) {
  const char *text = cli_value(arguments, &opt_alpha);
  if (!text)
    return 0;
  char *end = NULL;
  *alpha = strtod(text, &end);
  if (end == text || *end || !(*alpha > 0 && *alpha < 1))
    return cli_usage(arguments->command, "--alpha %s: it must be a share between 0 and 1, such as 0.05", text);
  return 0;
}

static int choose_provenance(const cli_arguments *arguments, plb_provenance *out) {
  const char *text = cli_value(arguments, &opt_provenance);
  if (!text || strcmp(text, plb_provenance_name(PLB_MEASURED)) == 0)
    return 0;
  if (strcmp(text, plb_provenance_name(PLB_MODELLED)) != 0)
    return cli_usage(arguments->command, "--provenance %s: captures are measured or modelled", text);
  *out = PLB_MODELLED;
  return 0;
}

static int require(const cli_arguments *arguments, const cli_option *option, const char *example) {
  if (cli_given(arguments, option))
    return 0;
  return cli_usage(arguments->command, "--%s is missing; give it, for example %s", option->name, example);
}

static int choose_cycle(const cli_arguments *arguments, plb_cycle_spec *out) {
  plb_error err = PLB_ERROR_INIT;
  if (plb_cycle_spec_parse(cli_value(arguments, &opt_cycle), out, &err) == PLB_OK)
    return 0;
  return cli_usage(arguments->command, "--cycle: %s", err.message);
}

static int choose_bands(const cli_arguments *arguments, unsigned *out) {
  long bands = 0;
  if (!cli_given(arguments, &opt_bands))
    return 0;
  const int status = cli_whole(arguments, &opt_bands, 1, 96, &bands);
  *out = (unsigned)bands;
  return status;
}

static int choose_frequency(const cli_arguments *arguments, plb_frequency_bands *out) {
  static const char *const words[] = {"auto", "none", "octave", "third", "orders"};
  const char *text = cli_value(arguments, &opt_frequency);
  for (size_t i = 1; text && i < sizeof words / sizeof words[0]; i++)
    if (strcmp(text, words[i]) == 0) {
      *out = (plb_frequency_bands)i;
      return 0;
    }
  return text ? cli_usage(arguments->command, "--frequency-bands %s: choose octave, third, orders or none", text) : 0;
}

/* Every ROLE=RULE of one option, in a list that lives as long as the program's arguments do. */
static int choose_rules(const cli_arguments *arguments, const cli_option *option, const char **list, size_t *count) {
  *count = 0;
  for (size_t i = 0; i < arguments->count; i++)
    if (arguments->item[i].option == option && *count < RULES_MOST)
      list[(*count)++] = arguments->item[i].value;
    else if (arguments->item[i].option == option)
      return cli_usage(arguments->command, "--%s: more than %d are too many", option->name, RULES_MOST);
  return 0;
}

static int choose(plb_learn_options *out, char date[DATE_SIZE], const cli_arguments *arguments) {
  const bool like = cli_given(arguments, &opt_like) || cli_given(arguments, &opt_relearn);
  int status = like ? 0 : require(arguments, &opt_type, "--type crank-inductive");
  if (status == 0 && !like)
    status = require(arguments, &opt_name, "--name bench/60-2");
  if (status == 0 && !like)
    status = require(arguments, &opt_cycle, "--cycle wheel:teeth=60,missing=2");
  if (status == 0 && like && (cli_given(arguments, &opt_cycle) || cli_given(arguments, &opt_bands)))
    status = cli_usage(arguments->command, "--cycle and --bands are kept from the older known-good; leave them out");
  if (status == 0 && cli_given(arguments, &opt_like) && cli_given(arguments, &opt_relearn))
    status = cli_usage(arguments->command, "--like and --relearn exclude each other; keep one");
  if (status == 0 && cli_given(arguments, &opt_exclude) && !cli_given(arguments, &opt_relearn))
    status = cli_usage(arguments->command, "--exclude goes with --relearn; name the files you want otherwise");
  if (status != 0)
    return status;
  out->type = cli_value(arguments, &opt_type);
  out->name = cli_value(arguments, &opt_name);
  out->title = cli_value(arguments, &opt_title);
  status = like ? 0 : choose_cycle(arguments, &out->cycle);
  if (status == 0)
    status = choose_bands(arguments, &out->bands);
  if (status == 0)
    status = choose_frequency(arguments, &out->frequency);
  if (status == 0)
    status = choose_alpha(arguments, &out->alpha);
  if (status == 0)
    status = choose_provenance(arguments, &out->provenance);
  if (status == 0)
    status = choose_date(arguments, date, &out->date);
  return status;
}

static int choose_groups(cli_inputs *inputs, const cli_arguments *arguments) {
  const char *by = cli_value(arguments, &opt_group_by);
  if (!by)
    return 0;
  if (strcmp(by, "folder") != 0)
    return cli_usage(arguments->command, "--group-by %s: only \"folder\" is known", by);
  if (cli_given(arguments, &opt_group))
    return cli_usage(arguments->command, "--group and --group-by exclude each other; keep one");
  return cli_inputs_group_by_folder(inputs);
}

/* The new known-good must not fall on one of the captures it is made from. */
static int check_output(const cli_inputs *inputs, const cli_arguments *arguments) {
  const char *path = cli_value(arguments, &opt_output);
  if (!path && inputs->conditionings > 0)
    return cli_usage(arguments->command, "a collection keeps the files as they are, without --%s; convert them first, or give -o FILE",
                     inputs->conditioning_text[0]);
  if (!path)
    return 0;
  if (cli_given(arguments, &cli_opt_author) || cli_given(arguments, &cli_opt_why))
    return cli_usage(arguments->command, "--author and --why go into a collection's history; leave out -o, or say them when you add %s", path);
  for (size_t i = 0; i < inputs->count; i++)
    if (cli_same_file(path, inputs->item[i].path))
      return cli_usage(arguments->command, "-o %s would overwrite a capture; choose another name", path);
  return cli_output_possible(path);
}

/* Read all captures, several at a time. Every one that fails is told, in the order given. */
static int read_all(const cli_inputs *inputs, plb_capture **captures) {
  plb_error *errors = calloc(inputs->count, sizeof *errors);
  if (!errors)
    return cli_out_of_memory();
  const long count = (long)inputs->count;
#pragma omp parallel for schedule(dynamic, 1) if (count > 1)
  for (long i = 0; i < count; i++)
    errors[i].status = cli_inputs_read(inputs, (size_t)i, &captures[i], &errors[i]);
  int status = 0;
  for (long i = 0; i < count; i++)
    if (errors[i].status != PLB_OK)
      status = cli_exit_worst(status, cli_fail(&errors[i]));
  free(errors);
  return status;
}

static int say_what_was_learned(const plb_reference *reference, const plb_learned *learned) {
  plb_error err = PLB_ERROR_INIT;
  char *text = NULL;
  if (plb_report_learned_text(&text, reference, learned, &err) != PLB_OK)
    return cli_fail(&err);
  cli_output_text(text);
  free(text);
  return 0;
}

/* Into the collection, by way of a file of its own that is gone afterwards. */
static int store_draft(plb_reference *reference, const cli_arguments *arguments, const cli_inputs *inputs) {
  const char *folder = getenv("TMPDIR");
  char path[PLB_PATH_SIZE], said[PLB_TEXT_SIZE] = "";
  plb_error err = PLB_ERROR_INIT;
  int status = 0;
  snprintf(path, sizeof path, "%s/plumb-XXXXXX", folder && *folder ? folder : "/tmp");
  const int made = mkstemp(path);
  const char **captures = calloc(inputs->count + 1, sizeof *captures);
  if (made < 0 || !captures) {
    snprintf(err.path, sizeof err.path, "%s", path);
    snprintf(err.message, sizeof err.message, "cannot be made; set TMPDIR to a folder that can be written, or give -o FILE");
    err.status = PLB_ECREATE;
    status = cli_fail(&err);
    goto done;
  }
  for (size_t i = 0; i < inputs->count; i++)
    captures[i] = inputs->item[i].path;
  const plb_draft draft = {cli_value(arguments, &cli_opt_collection), path, captures, inputs->count, cli_value(arguments, &cli_opt_author),
                           cli_value(arguments, &cli_opt_why)};
  if (plb_reference_write(reference, path, &err) != PLB_OK ||
      plb_collection_add_draft(&draft, said, sizeof said, &err) != PLB_OK) {
    status = cli_fail(&err);
  } else {
    cli_output_text("\n");
    cli_output_text(said);
    cli_output_text("\n");
  }
done:
  if (made >= 0) {
    close(made);
    unlink(path);
  }
  free(captures);
  return status;
}

static int learn_from(const plb_good *good, size_t count, const plb_learn_options *choices, const cli_inputs *inputs,
                      const cli_arguments *arguments) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *reference = NULL;
  plb_learned *learned = NULL;
  const char *path = cli_value(arguments, &opt_output);
  int status = 0;
  if (plb_learn(&reference, &learned, good, count, choices, &err) != PLB_OK ||
      (path && plb_reference_write(reference, path, &err) != PLB_OK))
    status = cli_fail(&err);
  else
    status = say_what_was_learned(reference, learned);
  if (status == 0 && !path)
    status = store_draft(reference, arguments, inputs);
  plb_learned_free(learned);
  plb_reference_free(reference);
  return status;
}

/* The captures to learn from: those of the older known-good that are not excluded, then the files. */
typedef struct shelf {
  plb_capture **capture;
  plb_good *good;
  size_t count;
  plb_reference *older;
  plb_collection *collection;
} shelf;

static bool is_excluded(const cli_arguments *arguments, const plb_reference *older, size_t exemplar, bool *used) {
  for (size_t i = 0; i < arguments->count; i++) {
    const cli_item *item = &arguments->item[i];
    if (item->option == &opt_exclude &&
        (strcmp(item->value, plb_reference_exemplar_name(older, exemplar)) == 0 ||
         (strlen(item->value) >= 8 && strncmp(item->value, plb_reference_exemplar_sha256(older, exemplar), strlen(item->value)) == 0))) {
      used[i] = true;
      return true;
    }
  }
  return false;
}

static int check_all_excluded(const cli_arguments *arguments, const bool *used) {
  for (size_t i = 0; i < arguments->count; i++)
    if (arguments->item[i].option == &opt_exclude && !used[i])
      return cli_usage(arguments->command, "--exclude %s: no good capture of it is called so", arguments->item[i].value);
  return 0;
}

static int take_stored(shelf *s, const cli_arguments *arguments, plb_error *err) {
  char folder[PLB_PATH_SIZE];
  bool *used = calloc(arguments->count + 1, sizeof *used);
  plb_status status = used ? plb_collection_where(cli_value(arguments, &cli_opt_collection), folder, NULL, err) : PLB_ENOMEM;
  if (status == PLB_OK)
    status = plb_collection_open(&s->collection, folder, err);
  for (size_t i = 0; status == PLB_OK && i < plb_reference_exemplars(s->older); i++) {
    plb_capture *capture = NULL;
    const char *group = NULL;
    if (is_excluded(arguments, s->older, i, used))
      continue;
    status = plb_collection_exemplar(s->collection, s->older, i, &capture, &group, err);
    if (status == PLB_OK) {
      s->capture[s->count] = capture;
      s->good[s->count++] = (plb_good){capture, group, plb_reference_exemplar_name(s->older, i)};
    }
  }
  const int result = status != PLB_OK ? cli_fail(err) : check_all_excluded(arguments, used);
  free(used);
  return result;
}

static int fill(shelf *s, const cli_inputs *inputs, const cli_arguments *arguments) {
  plb_error err = PLB_ERROR_INIT;
  const char *relearn = cli_value(arguments, &opt_relearn), *like = relearn ? relearn : cli_value(arguments, &opt_like);
  if (like && plb_collection_load(&s->older, like, cli_value(arguments, &cli_opt_collection), NULL, &err) != PLB_OK)
    return cli_fail(&err);
  const size_t most = inputs->count + (s->older ? plb_reference_exemplars(s->older) : 0);
  s->capture = calloc(most + 1, sizeof *s->capture);
  s->good = calloc(most + 1, sizeof *s->good);
  if (!s->capture || !s->good)
    return cli_out_of_memory();
  int status = relearn ? take_stored(s, arguments, &err) : 0;
  if (status == 0)
    status = read_all(inputs, s->capture + s->count);
  for (size_t i = 0; i < inputs->count; i++)
    s->good[s->count + i] = (plb_good){s->capture[s->count + i], inputs->item[i].group, NULL};
  s->count += inputs->count;
  return status;
}

static int learn(const cli_inputs *inputs, plb_learn_options *choices, const cli_arguments *arguments) {
  shelf s = {NULL, NULL, 0, NULL, NULL};
  int status = fill(&s, inputs, arguments);
  if (status == 0) {
    choices->like = s.older;
    if (cli_given(arguments, &opt_relearn) && !cli_given(arguments, &opt_provenance))
      choices->provenance = plb_reference_provenance(s.older); /* what was modelled does not become measured */
    status = learn_from(s.good, s.count, choices, inputs, arguments);
  }
  for (size_t i = 0; s.capture && i < s.count; i++)
    plb_capture_free(s.capture[i]);
  free(s.good);
  free(s.capture);
  plb_reference_free(s.older);
  plb_collection_free(s.collection);
  return status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  plb_learn_options choices = PLB_LEARN_OPTIONS_INIT;
  char date[DATE_SIZE];
  const char *amplitude[RULES_MOST], *offset[RULES_MOST];
  int status = cli_inputs_gather(&inputs, arguments, &opt_group);
  if (status == 0)
    status = choose(&choices, date, arguments);
  if (status == 0)
    status = choose_rules(arguments, &opt_amplitude, amplitude, &choices.rules);
  if (status == 0)
    status = choose_rules(arguments, &opt_offset, offset, &choices.offset_rules);
  choices.rule = amplitude;
  choices.offset_rule = offset;
  if (status == 0 && inputs.count == 0 && !cli_given(arguments, &opt_relearn))
    status = cli_usage(arguments->command, "no capture is named; give at least 3 good ones");
  if (status == 0)
    status = choose_groups(&inputs, arguments);
  if (status == 0)
    status = check_output(&inputs, arguments);
  if (status == 0) {
    choices.stated = inputs.condition;
    choices.stated_count = inputs.conditions;
    status = learn(&inputs, &choices, arguments);
  }
  if (status == 0 && choices.type)
    cli_note_type(choices.type, cli_value(arguments, &cli_opt_collection));
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_learn = {
    "learn",
    "make a known-good from at least 3 good captures",
    "--type TYPE --name NAME --cycle KIND [options] GOOD... [-o FILE]",
    "Learns what is normal from captures of healthy circuits taken under like conditions: the good range along the "
    "cycle, "
    "how much good ones differ, and how far a capture may be off before it is called not normal. Prints what was "
    "chosen "
    "and why, how each capture scores against a known-good learned without it, any odd one, and what can be promised.\n"
    "Captures of one vehicle or session count as one: name them with --group or --group-by. At least 3 captures; from "
    "one vehicle only, every verdict says so.",
    "  plumb learn --type crank-inductive --name bench/60-2 --cycle wheel:teeth=60,missing=2 \\\n"
    "    --channel crank=2:V good-1.txt good-2.txt good-3.txt -o ref.xml\n"
    "  plumb learn --type injector-voltage --name fleet/2.0-petrol --cycle edge:level=7V,slope=falling \\\n"
    "    --channel injector=2:V --group van-1 a1.csv a2.csv --group van-2 b1.csv b2.csv -o injector.xml",
    options,
    run};
