/* plumb collection list, find, show, history and diff: from the index alone. */
#include "collection.h"
#include "message.h"
#include "output.h"

#include <plumbline/collection.h>
#include <plumbline/core.h>
#include <plumbline/report.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static plb_status open_collection(const cli_arguments *arguments, plb_collection **out, bool *starter, plb_error *err) {
  char folder[PLB_PATH_SIZE];
  plb_status status = plb_collection_where(cli_value(arguments, &cli_opt_collection), folder, starter, err);
  if (status == PLB_OK)
    status = plb_collection_open(out, folder, err);
  return status;
}

static void print_reference(const plb_entry *e) {
  char selector[PLB_TEXT_SIZE + 16], line[1024];
  snprintf(selector, sizeof selector, "%s@%u", e->name, e->version);
  snprintf(line, sizeof line, "%-40s %-9s %-9s %4zu  %s\n", selector, plb_entry_status_name(e->status), e->provenance, e->exemplars, e->title);
  cli_output_text(line);
}

static void print_entry(const plb_entry *e) {
  char line[1024];
  if (e->kind == PLB_ENTRY_REFERENCE) {
    print_reference(e);
    return;
  }
  snprintf(line, sizeof line, "%-34s %s%s%s%s\n", e->name, e->kind == PLB_ENTRY_CASE ? e->type : "", e->kind == PLB_ENTRY_CASE ? ": " : "",
           e->title, e->status == PLB_WITHDRAWN ? " (withdrawn)" : "");
  cli_output_text(line);
}

static int print_json(char *text) {
  cli_output_text(text);
  free(text);
  return CLI_OK;
}

static int print_listing(const cli_arguments *arguments, const plb_entry *list, size_t count, bool starter) {
  if (cli_given(arguments, &cli_opt_listing_json)) {
    char *text = NULL;
    plb_error err = PLB_ERROR_INIT;
    return plb_listing_json(&text, list, count, &err) == PLB_OK ? print_json(text) : cli_fail(&err);
  }
  if (starter && count)
    cli_note("this is the starter collection; the first thing you add makes a copy of your own");
  for (size_t i = 0; i < count; i++)
    print_entry(&list[i]);
  if (count == 0)
    cli_note("nothing in the collection fits; leave out a word or a condition");
  return CLI_OK;
}

static int list_filtered(const cli_arguments *arguments, const char *text) {
  plb_collection_filter filter = PLB_COLLECTION_FILTER_INIT;
  const char **conditions = calloc(arguments->count + 1, sizeof *conditions);
  if (!conditions)
    return cli_out_of_memory();
  filter.type = cli_value(arguments, &cli_opt_type);
  filter.text = text;
  filter.condition_count = cli_values(arguments, &cli_opt_condition_range, conditions);
  filter.conditions = conditions;
  filter.provenance = cli_value(arguments, &cli_opt_provenance);
  filter.status = cli_value(arguments, &cli_opt_status);
  filter.all_versions = cli_given(arguments, &cli_opt_all);
  filter.captures = cli_given(arguments, &cli_opt_captures);
  filter.cases = cli_given(arguments, &cli_opt_cases);
  filter.types = cli_given(arguments, &cli_opt_types);
  plb_collection *collection = NULL;
  plb_entry *list = NULL;
  size_t count = 0;
  bool starter = false;
  plb_error err = PLB_ERROR_INIT;
  plb_status status = open_collection(arguments, &collection, &starter, &err);
  if (status == PLB_OK)
    status = plb_collection_find(collection, &filter, &list, &count, &err);
  const int exit_status = status == PLB_OK ? print_listing(arguments, list, count, starter) : cli_fail(&err);
  free(list);
  free(conditions);
  plb_collection_free(collection);
  return exit_status;
}

int cli_collection_list(const cli_arguments *arguments, const cli_words *words) {
  (void)words;
  return list_filtered(arguments, NULL);
}

int cli_collection_find(const cli_arguments *arguments, const cli_words *words) {
  char text[2048] = "";
  size_t used = 0;
  for (size_t i = 0; i < words->count && used < sizeof text; i++)
    used += (size_t)snprintf(text + used, sizeof text - used, "%s%s", i ? " " : "", words->word[i]);
  return used < sizeof text ? list_filtered(arguments, text) : cli_usage("collection", "too many words to search for");
}

static void print_lines(const char *head, const char *lines) {
  for (const char *line = lines; *line; line += strcspn(line, "\n"), line += *line == '\n') {
    char text[1024];
    snprintf(text, sizeof text, "%-14s%.*s\n", line == lines ? head : "", (int)strcspn(line, "\n"), line);
    cli_output_text(text);
  }
}

static void print_fact(const char *head, const char *value) {
  if (value[0])
    print_lines(head, value);
}

static void print_document(const plb_entry *e) {
  char text[PLB_TEXT_SIZE + 32];
  snprintf(text, sizeof text, e->version ? "%s@%u" : "%s", e->name, e->version);
  print_fact(e->kind == PLB_ENTRY_REFERENCE ? "known-good" : e->kind == PLB_ENTRY_CASE ? "proved fault" : "capture", text);
  print_fact("title", e->title);
  print_fact("status", plb_entry_status_name(e->status));
  print_fact("type", e->type);
  print_fact("provenance", e->provenance);
  if (e->kind == PLB_ENTRY_REFERENCE) {
    snprintf(text, sizeof text, "%zu", e->exemplars);
    print_fact("good captures", text);
  }
  print_fact("conditions", e->conditions);
  print_fact("put in by", e->author);
  print_fact("when", e->when);
  print_fact("why", e->why);
  print_fact("id", e->id);
  print_fact("SHA-256", e->sha256);
  print_fact("commit", e->commit);
}

int cli_collection_show(const cli_arguments *arguments, const cli_words *words) {
  plb_collection *collection = NULL;
  plb_entry e;
  plb_error err = PLB_ERROR_INIT;
  int exit_status = CLI_OK;
  plb_status status = open_collection(arguments, &collection, NULL, &err);
  if (status == PLB_OK)
    status = plb_collection_select(collection, words->word[0], &e, &err);
  if (status == PLB_OK)
    status = plb_entry_verify(&e, &err);
  if (status != PLB_OK)
    exit_status = cli_fail(&err);
  else if (cli_given(arguments, &cli_opt_xml))
    fwrite(e.data, 1, e.size, stdout);
  else if (cli_given(arguments, &cli_opt_listing_json)) {
    char *text = NULL;
    exit_status = plb_listing_json(&text, &e, 1, &err) == PLB_OK ? print_json(text) : cli_fail(&err);
  } else
    print_document(&e);
  plb_collection_free(collection);
  return exit_status;
}

static void print_act(const plb_act *a) {
  char line[1024];
  snprintf(line, sizeof line, "%s  @%-4u %-8s %s%s%s%s\n", a->when[0] ? a->when : "(no time)           ", a->version, a->kind, a->who,
           a->own ? " (own, by the collection's setting)" : "", a->why[0] ? ": " : "", a->why);
  cli_output_text(line);
}

int cli_collection_history(const cli_arguments *arguments, const cli_words *words) {
  plb_collection *collection = NULL;
  plb_act *acts = NULL;
  size_t count = 0;
  char *text = NULL;
  plb_error err = PLB_ERROR_INIT;
  int exit_status = CLI_OK;
  plb_status status = open_collection(arguments, &collection, NULL, &err);
  if (status == PLB_OK)
    status = plb_collection_history(collection, words->word[0], &acts, &count, &err);
  if (status == PLB_OK && cli_given(arguments, &cli_opt_listing_json)) {
    status = plb_history_json(&text, words->word[0], acts, count, &err);
    if (status == PLB_OK)
      print_json(text);
  } else if (status == PLB_OK) {
    for (size_t i = 0; i < count; i++)
      print_act(&acts[i]);
  }
  if (status != PLB_OK)
    exit_status = cli_fail(&err);
  free(acts);
  plb_collection_free(collection);
  return exit_status;
}

static int draw(const char *path, const plb_reference *a, const plb_reference *b) {
  plb_error err = PLB_ERROR_INIT;
  char *svg = NULL;
  plb_status status = plb_report_difference_svg(&svg, a, b, &err);
  if (status == PLB_OK)
    status = plb_file_write(path, svg, strlen(svg), &err);
  free(svg);
  return status == PLB_OK ? CLI_OK : cli_fail(&err);
}

/* Sixty teeth that moved a little are one thing to a reader; all are in the JSON. */
static size_t print_one_kind(const plb_difference *d, size_t count) {
  enum { SHOWN = 12 };
  size_t same = 1;
  char line[1024];
  while (same < count && strcmp(d[same].what, d[0].what) == 0)
    same++;
  const bool many = same > SHOWN && strcmp(d[0].what, "reading") == 0;
  const size_t shown = many ? SHOWN / 2 : same;
  for (size_t i = 0; i < shown; i++) {
    snprintf(line, sizeof line, "%s: %s\n", d[i].what, d[i].text);
    cli_output_text(line);
  }
  if (shown < same) {
    snprintf(line, sizeof line, "%s: and %zu more; --json lists them all\n", d[0].what, same - shown);
    cli_output_text(line);
  }
  return same;
}

static int print_differences(const cli_arguments *arguments, const plb_difference *d, size_t count) {
  char *text = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (cli_given(arguments, &cli_opt_listing_json))
    return plb_difference_json(&text, d, count, &err) == PLB_OK ? print_json(text) : cli_fail(&err);
  for (size_t i = 0; i < count;)
    i += print_one_kind(d + i, count - i);
  if (count == 0)
    cli_output_text("no difference\n");
  return CLI_OK;
}

int cli_collection_diff(const cli_arguments *arguments, const cli_words *words) {
  plb_reference *side[2] = {NULL, NULL};
  plb_difference *list = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  plb_status status = PLB_OK;
  for (int i = 0; i < 2 && status == PLB_OK; i++)
    status = plb_collection_load(&side[i], words->word[i], cli_value(arguments, &cli_opt_collection), NULL, &err);
  if (status == PLB_OK)
    status = plb_reference_difference(side[0], side[1], &list, &count, &err);
  int exit_status = status == PLB_OK ? print_differences(arguments, list, count) : cli_fail(&err);
  const char *picture = cli_value(arguments, &cli_opt_picture);
  if (exit_status == CLI_OK && picture)
    exit_status = draw(picture, side[0], side[1]);
  if (exit_status == CLI_OK && count)
    exit_status = CLI_DEPARTS; /* differs */
  free(list);
  plb_reference_free(side[0]);
  plb_reference_free(side[1]);
  return exit_status;
}
