/* plumb connect: how to connect to a sensor type, and was a capture taken so? */
#include "collection.h"
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"
#include "type_note.h"

#include <plumbline/collection.h>
#include <plumbline/core.h>
#include <plumbline/report.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const cli_option opt_json = {"json", 0, NULL, false, "Print one line of JSON (connect/1)."};
static const cli_option opt_svg = {"svg", 0, "FILE", false, "Draw the card, to print, into this file."};
static const cli_option *const options[] = {&cli_opt_collection, &cli_opt_channel, &cli_opt_rate, &opt_json, &opt_svg, NULL};

/* Everything the card is made from. */
typedef struct deck {
  plb_collection *collection;
  plb_entry *entry;
  size_t entries;
  plb_reference *reference;
  plb_capture *capture;
  const char **other;
  size_t others;
  char title[PLB_TEXT_SIZE];
} deck;

static void dispose(deck *d) {
  free(d->entry);
  free(d->other);
  plb_reference_free(d->reference);
  plb_capture_free(d->capture);
  plb_collection_free(d->collection);
}

/* Measured before modelled, modelled before what a standard sets; then the state that is tested most often. */
static int rank(const plb_entry *e) {
  const int origin = strcmp(e->provenance, "measured") == 0 ? 0 : strcmp(e->provenance, "modelled") == 0 ? 1 : 2;
  return 2 * origin + (strstr(e->conditions, "state=hot-idle") == NULL);
}

static void find_title(deck *d, const char *type) {
  for (size_t i = 0; i < plb_collection_count(d->collection); i++) {
    plb_entry e;
    if (plb_collection_entry(d->collection, i, &e) && e.kind == PLB_ENTRY_TYPE && strcmp(e.name, type) == 0)
      snprintf(d->title, sizeof d->title, "%s", e.title);
  }
}

static plb_status open_collection(deck *d, const char *named, plb_error *err) {
  char folder[PLB_PATH_SIZE];
  plb_status status = plb_collection_where(named, folder, NULL, err);
  return status == PLB_OK ? plb_collection_open(&d->collection, folder, err) : status;
}

static plb_status list_type(deck *d, const char *type, plb_error *err) {
  plb_collection_filter filter = PLB_COLLECTION_FILTER_INIT;
  filter.type = type;
  return plb_collection_find(d->collection, &filter, &d->entry, &d->entries, err);
}

/* A word is a type; with a '/' it is one known-good. */
static int choose(deck *d, const char *word, const char *named, plb_error *err) {
  const char *selector = word;
  if (open_collection(d, named, err) != PLB_OK)
    return cli_fail(err);
  if (!strchr(word, '/') && !strchr(word, '.')) {
    if (list_type(d, word, err) != PLB_OK)
      return cli_fail(err);
    const char *near = d->entries == 0 ? cli_near_type(d->collection, word) : NULL;
    if (near)
      return cli_usage("connect", "%s is no type with a known-good here; did you mean %s?", word, near);
    if (d->entries == 0)
      return cli_usage("connect", "%s is no type with a known-good here; \"plumb collection list\" shows which there are", word);
    size_t best = 0;
    for (size_t i = 1; i < d->entries; i++)
      best = rank(&d->entry[i]) < rank(&d->entry[best]) ? i : best;
    selector = d->entry[best].name;
    d->other = calloc(d->entries, sizeof *d->other);
    for (size_t i = 0; d->other && i < d->entries; i++)
      if (i != best)
        d->other[d->others++] = d->entry[i].name;
  }
  if (plb_collection_load(&d->reference, selector, named, NULL, err) != PLB_OK)
    return cli_fail(err);
  find_title(d, plb_reference_type(d->reference));
  return 0;
}

static int print(const plb_connect *asked, const cli_arguments *arguments, plb_error *err) {
  char *text = NULL, *svg = NULL;
  const char *path = cli_value(arguments, &opt_svg);
  plb_status status = cli_given(arguments, &opt_json)
                          ? plb_report_connect_json(&text, asked, err)
                          : plb_report_connect_text(&text, asked, cli_output_coloured() ? PLB_TEXT_TERMINAL : PLB_TEXT_PLAIN, cli_output_width(), err);
  if (status == PLB_OK && path)
    status = plb_report_connect_svg(&svg, asked, err);
  if (status == PLB_OK && path)
    status = plb_file_write(path, svg, strlen(svg), err);
  if (status == PLB_OK)
    cli_output_text(text);
  free(text);
  free(svg);
  return status == PLB_OK ? 0 : cli_fail(err);
}

static int show(const cli_inputs *inputs, const cli_arguments *arguments) {
  deck d = {.collection = NULL};
  plb_error err = PLB_ERROR_INIT;
  size_t wrong = 0;
  int status = choose(&d, inputs->item[0].path, cli_value(arguments, &cli_opt_collection), &err);
  if (status == 0 && inputs->count > 1 && cli_inputs_read(inputs, 1, &d.capture, &err) != PLB_OK)
    status = cli_fail(&err);
  const plb_connect asked = {d.reference, d.title[0] ? d.title : NULL, d.other, d.others, d.capture};
  if (status == 0)
    status = print(&asked, arguments, &err);
  if (status == 0 && plb_connect_wrong(&wrong, &asked, &err) != PLB_OK)
    status = cli_fail(&err);
  if (status == 0 && wrong > 0)
    status = CLI_DEPARTS;
  dispose(&d);
  return status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  if (status == 0 && inputs.count == 0)
    status = cli_usage(arguments->command, "no sensor type is named; \"plumb collection list\" shows which there are");
  if (status == 0 && inputs.count > 2)
    status = cli_usage(arguments->command, "a type and at most one capture, but %zu words are given", inputs.count);
  if (status == 0 && cli_given(arguments, &opt_svg)) {
    if (inputs.count > 1 && cli_same_file(cli_value(arguments, &opt_svg), inputs.item[1].path))
      status = cli_usage(arguments->command, "--svg %s would overwrite the capture; choose another name", cli_value(arguments, &opt_svg));
    else
      status = cli_output_possible(cli_value(arguments, &opt_svg));
  }
  if (status == 0)
    status = show(&inputs, arguments);
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_connect = {
    "connect",
    "how to connect to a sensor, and was a capture taken so",
    "[options] TYPE|TYPE/NAME [CAPTURE]",
    "Prints the card of a sensor type: connector together or open, test point, where the ground clip goes and where never, probe, range, "
    "coupling, sample rate, trigger, leads and cautions, from the known-good of this type.\n"
    "With a capture it says what would have to change: rate, range, coupling, channels and units. Exit status 0: taken as the card asks, "
    "1: something is to change.",
    "  plumb connect crank\n"
    "  plumb connect injector-voltage --svg card.svg\n"
    "  plumb connect can-pair trace.csv --channel can-high=2:V --channel can-low=3:V",
    options,
    run};
