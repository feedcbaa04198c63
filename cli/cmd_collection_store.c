/* In plumb-store: the verbs that write. */
#include "collection.h"
#include "message.h"
#include "output.h"

#include <plumbline/store.h>

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

static void say(const char *line, void *payload) {
  (void)payload;
  cli_output_text(line);
  cli_output_text("\n");
}

static plb_store_options store_options(const cli_arguments *arguments) {
  plb_store_options options = PLB_STORE_OPTIONS_INIT;
  options.author = cli_value(arguments, &cli_opt_author);
  options.why = cli_value(arguments, &cli_opt_why);
  options.say = say;
  return options;
}

static plb_status init(const cli_arguments *arguments, const cli_words *words, plb_error *err) {
  char folder[PLB_PATH_SIZE], line[PLB_PATH_SIZE + 64];
  const plb_store_options options = store_options(arguments);
  const char *named = words->count ? words->word[0] : cli_value(arguments, &cli_opt_collection);
  plb_status status = plb_collection_where_to_write(named, folder, err);
  if (status == PLB_OK)
    status = plb_store_init(folder, cli_value(arguments, &cli_opt_from), &options, err);
  if (status == PLB_OK) {
    snprintf(line, sizeof line, "made a collection in %s", folder);
    say(line, NULL);
  }
  return status;
}

/* The first write with nothing named makes the user's own collection, with what the starter collection holds. */
static plb_status begin_own(const char *folder, const plb_store_options *options, plb_error *err) {
  char starter[PLB_PATH_SIZE];
  bool is_starter = false;
  struct stat st;
  plb_error none = PLB_ERROR_INIT;
  if (stat(folder, &st) == 0)
    return PLB_OK;
  if (plb_collection_where(NULL, starter, &is_starter, &none) != PLB_OK || !is_starter)
    return plb_store_init(folder, NULL, options, err);
  cli_note("the starter collection is copied to %s, your own from now on", folder);
  return plb_store_init(folder, starter, options, err);
}

static plb_status open_store(const cli_arguments *arguments, plb_store **out, plb_error *err) {
  char folder[PLB_PATH_SIZE];
  const plb_store_options options = store_options(arguments);
  const char *named = cli_value(arguments, &cli_opt_collection);
  plb_status status = plb_collection_where_to_write(named, folder, err);
  bool starter = false;
  char serving[PLB_PATH_SIZE];
  plb_error none = PLB_ERROR_INIT;
  if (status == PLB_OK && plb_collection_where(named, serving, &starter, &none) == PLB_OK && starter)
    status = begin_own(folder, &options, err);
  else if (status == PLB_OK && !named && none.status != PLB_OK)
    status = begin_own(folder, &options, err);
  return status == PLB_OK ? plb_store_open(out, folder, &options, err) : status;
}

static plb_private_facts facts_of(const cli_arguments *arguments) {
  return (plb_private_facts){cli_value(arguments, &cli_opt_vehicle), cli_value(arguments, &cli_opt_job), cli_value(arguments, &cli_opt_person)};
}

static plb_status for_each(plb_store *store, const cli_words *words, plb_status (*act)(plb_store *, const char *, plb_error *), plb_error *err) {
  plb_status status = PLB_OK;
  for (size_t i = 0; i < words->count && status == PLB_OK; i++)
    status = act(store, words->word[i], err);
  return status;
}

static int check(plb_store *store, plb_error *err) {
  plb_store_check_result r;
  char line[256];
  if (plb_store_check(store, &r, err) != PLB_OK)
    return cli_fail(err);
  snprintf(line, sizeof line, "%zu objects, %zu packs and %zu documents read to their end: %zu damaged", r.objects, r.packs, r.documents,
           r.damaged);
  say(line, NULL);
  return r.damaged ? CLI_DATA : CLI_OK;
}

static int fetch(plb_store *store, const cli_arguments *arguments, const char *url, plb_error *err) {
  const char *words[64];
  size_t conflicts = 0;
  plb_store_keep keep = {words, 0};
  if (arguments->count > 64)
    return cli_usage("collection", "too many words");
  keep.count = cli_values(arguments, &cli_opt_keep, words);
  if (plb_store_fetch(store, url, &keep, &conflicts, err) != PLB_OK)
    return cli_fail(err);
  if (conflicts == 0)
    return CLI_OK;
  cli_note("nothing was changed: say --keep mine, theirs or both, or --keep type/name=mine for one");
  return CLI_DEPARTS;
}

/* Only mine can be kept on a side that is not asked. */
static int send(plb_store *store, const cli_arguments *arguments, const char *url, plb_error *err) {
  const char *words[64];
  if (arguments->count > 64)
    return cli_usage("collection", "too many words");
  const size_t count = cli_values(arguments, &cli_opt_keep, words);
  if (count > 1 || (count == 1 && strcmp(words[0], "mine") != 0))
    return cli_usage("collection", "--keep %s makes no sense when sending; say --keep mine, or leave it out", words[0]);
  return plb_store_send(store, url, count == 1, err) == PLB_OK ? CLI_OK : cli_fail(err);
}

static plb_status add_case(plb_store *store, const cli_arguments *arguments, plb_error *err) {
  const plb_private_facts facts = facts_of(arguments);
  const plb_case input = {cli_value(arguments, &cli_opt_type), cli_value(arguments, &cli_opt_cause), cli_value(arguments, &cli_opt_proof),
                          cli_value(arguments, &cli_opt_repair), cli_value(arguments, &cli_opt_before), cli_value(arguments, &cli_opt_after),
                          cli_value(arguments, &cli_opt_departed), cli_value(arguments, &cli_opt_verdict)};
  return plb_store_add_case(store, &input, &facts, err);
}

static int write_to(plb_store *store, const cli_arguments *arguments, const char *verb, const cli_words *words, plb_error *err) {
  const plb_private_facts facts = facts_of(arguments);
  plb_status status = PLB_EINTERNAL;
  if (strcmp(verb, "check") == 0)
    return check(store, err);
  if (strcmp(verb, "fetch") == 0)
    return fetch(store, arguments, words->word[0], err);
  if (strcmp(verb, "send") == 0)
    return send(store, arguments, words->word[0], err);
  if (strcmp(verb, "add") == 0)
    status = plb_store_add(store, words->word, words->count, &facts, err);
  else if (strcmp(verb, "import") == 0)
    status = plb_store_import(store, words->word, words->count, err);
  else if (strcmp(verb, "approve") == 0)
    status = for_each(store, words, plb_store_approve, err);
  else if (strcmp(verb, "retire") == 0)
    status = for_each(store, words, plb_store_retire, err);
  else if (strcmp(verb, "withdraw") == 0)
    status = plb_store_withdraw(store, words->word[0], err);
  else if (strcmp(verb, "restore") == 0)
    status = plb_store_restore(store, words->word[0], err);
  else if (strcmp(verb, "pack") == 0)
    status = plb_store_pack(store, err);
  else if (strcmp(verb, "set") == 0)
    status = words->count == 2 ? plb_store_set(store, words->word[0], words->word[1], err)
                               : plb_store_tell_setting(store, words->count ? words->word[0] : NULL, err);
  else if (strcmp(verb, "facts") == 0)
    status = plb_store_tell_facts(store, words->count ? words->word[0] : NULL, err);
  else if (strcmp(verb, "add-case") == 0)
    status = add_case(store, arguments, err);
  return status == PLB_OK ? CLI_OK : cli_fail(err);
}

/* A question must not be what makes the user's own collection. */
static bool asks_the_starter(const cli_arguments *arguments, const char *verb, const cli_words *words) {
  char folder[PLB_PATH_SIZE];
  bool starter = false;
  plb_error none = PLB_ERROR_INIT;
  const bool asks = strcmp(verb, "facts") == 0 || (strcmp(verb, "set") == 0 && words->count < 2);
  return asks && plb_collection_where(cli_value(arguments, &cli_opt_collection), folder, &starter, &none) == PLB_OK && starter;
}

int cli_collection_write(const cli_arguments *arguments, const char *verb, const cli_words *words) {
  plb_error err = PLB_ERROR_INIT;
  plb_store *store = NULL;
  if (strcmp(verb, "init") == 0)
    return init(arguments, words, &err) == PLB_OK ? CLI_OK : cli_fail(&err);
  if (asks_the_starter(arguments, verb, words)) {
    say("the starter collection has no settings and keeps nothing private; the first write makes your own", NULL);
    return CLI_OK;
  }
  if (open_store(arguments, &store, &err) != PLB_OK)
    return cli_fail(&err);
  const int status = write_to(store, arguments, verb, words, &err);
  plb_store_free(store);
  return status;
}
