/* plumb collection VERB: the group's options and verbs. Reading is done here; writing by the helper program plumb-store. */
#include "collection.h"
#include "message.h"

#include <stdlib.h>
#include <string.h>

const cli_option cli_opt_collection = {"collection", 0, "DIR", false, "The collection; without it PLUMBLINE_COLLECTION, then your own, then the starter collection."};
const cli_option cli_opt_author = {"author", 0, "NAME", false, "Who does this, \"Name\" or \"Name <mail>\": a claim, kept in the history. Without it PLUMBLINE_AUTHOR, git's user.name, the login name."};
const cli_option cli_opt_why = {"why", 0, "TEXT", false, "Why, kept in the history."};
const cli_option cli_opt_from = {"from", 0, "DIR", false, "init: begin with what this folder holds, laid out like a collection."};
const cli_option cli_opt_vehicle = {"vehicle", 0, "TAG", false, "add, add-case: the shop's own vehicle tag; kept in the private repository, never sent."};
const cli_option cli_opt_job = {"job", 0, "NUMBER", false, "add, add-case: the job number; private as well."};
const cli_option cli_opt_person = {"person", 0, "NAME", false, "add, add-case: who brought it; private as well."};
const cli_option cli_opt_keep = {"keep", 0, "SIDE", true, "fetch: where both sides changed a reference, keep mine, theirs or both; type/name=SIDE speaks for one reference. "
                                  "send: mine puts yours in the place of another document under the same number."};
const cli_option cli_opt_type = {"type", 0, "TYPE", false, "list, find: this sensor type only, by slug or alias; add-case: what was measured."};
const cli_option cli_opt_condition_range = {"condition", 0, "NAME=RANGE", true, "list, find: speaks for this condition, speed=600..900/min or state=hot-idle."};
const cli_option cli_opt_provenance = {"provenance", 0, "WORD", false, "list, find: measured, modelled or standard."};
const cli_option cli_opt_status = {"status", 0, "WORD", false, "list, find: draft, approved, retired or withdrawn."};
const cli_option cli_opt_all = {"all", 0, NULL, false, "list, find: every version, not only the one in use."};
const cli_option cli_opt_captures = {"captures", 0, NULL, false, "list, find: the stored captures instead of references."};
const cli_option cli_opt_cases = {"cases", 0, NULL, false, "list, find: the proved faults instead of references."};
const cli_option cli_opt_types = {"types", 0, NULL, false, "list, find: the sensor types instead of references."};
const cli_option cli_opt_xml = {"xml", 0, NULL, false, "show: the document itself."};
const cli_option cli_opt_picture = {"picture", 0, "FILE", false, "diff: draw both good ranges into an SVG file."};
const cli_option cli_opt_cause = {"cause", 0, "TEXT", false, "add-case: what was wrong."};
const cli_option cli_opt_proof = {"proof", 0, "TEXT", false, "add-case: how that was proved."};
const cli_option cli_opt_repair = {"repair", 0, "TEXT", false, "add-case: what was done about it."};
const cli_option cli_opt_before = {"before", 0, "CAPTURE", false, "add-case: the faulty capture, a file or the id of a stored one."};
const cli_option cli_opt_after = {"after", 0, "CAPTURE", false, "add-case: a capture after the repair."};
const cli_option cli_opt_departed = {"reference", 0, "SELECTOR", false, "add-case: the known-good it departed from."};
const cli_option cli_opt_verdict = {"verdict", 0, "FILE", false, "add-case: the verdict, as \"plumb compare --json\" prints it."};
const cli_option cli_opt_listing_json = {"json", 0, NULL, false, "list, find, show, history, diff: one document of JSON."};

static const cli_option *const options[] = {
    &cli_opt_collection, &cli_opt_author, &cli_opt_why, &cli_opt_type, &cli_opt_condition_range, &cli_opt_provenance, &cli_opt_status,
    &cli_opt_all, &cli_opt_captures, &cli_opt_cases, &cli_opt_types, &cli_opt_xml, &cli_opt_picture, &cli_opt_listing_json, &cli_opt_from,
    &cli_opt_vehicle, &cli_opt_job, &cli_opt_person, &cli_opt_keep, &cli_opt_cause, &cli_opt_proof, &cli_opt_repair, &cli_opt_before,
    &cli_opt_after, &cli_opt_departed, &cli_opt_verdict, NULL};

typedef struct verb {
  const char *name;
  int (*read)(const cli_arguments *, const cli_words *); /**< NULL: it writes */
  size_t least, most;                                    /**< words behind it */
  const char *words;                                     /**< what they are, for messages */
} verb;

static const verb verbs[] = {
    {"init", NULL, 0, 1, "[DIR]"},
    {"add", NULL, 1, SIZE_MAX, "FILE..."},
    {"list", cli_collection_list, 0, 0, ""},
    {"find", cli_collection_find, 0, SIZE_MAX, "WORD..."},
    {"show", cli_collection_show, 1, 1, "SELECTOR"},
    {"history", cli_collection_history, 1, 1, "type/name"},
    {"diff", cli_collection_diff, 2, 2, "SELECTOR SELECTOR"},
    {"restore", NULL, 1, 1, "type/name@VERSION"},
    {"approve", NULL, 1, SIZE_MAX, "SELECTOR..."},
    {"retire", NULL, 1, SIZE_MAX, "SELECTOR..."},
    {"withdraw", NULL, 1, 1, "SELECTOR or capture id"},
    {"check", NULL, 0, 0, ""},
    {"fetch", NULL, 1, 1, "PATH or URL"},
    {"send", NULL, 1, 1, "PATH or URL"},
    {"add-case", NULL, 0, 0, ""},
    {"facts", NULL, 0, 1, "[id, vehicle tag, job number or person]"},
    {"import", NULL, 1, SIZE_MAX, "FILE or FOLDER..."},
    {"pack", NULL, 0, 0, ""},
    {"set", NULL, 0, 2, "[NAME [VALUE]]"},
};
enum { VERBS = sizeof verbs / sizeof verbs[0] };

static int unknown_verb(const char *word) {
  const char *names[VERBS + 1] = {0};
  for (int i = 0; i < VERBS; i++)
    names[i] = verbs[i].name;
  const char *near = cli_nearest(word, names);
  return near ? cli_usage("collection", "unknown verb %s; did you mean %s?", word, near)
              : cli_usage("collection", "unknown verb %s", word);
}

static int run_verb(const cli_arguments *arguments, const cli_words *all) {
  if (all->count == 0)
    return cli_usage("collection", "no verb is named; say list, for example");
  const verb *v = NULL;
  for (int i = 0; i < VERBS && !v; i++)
    if (strcmp(verbs[i].name, all->word[0]) == 0)
      v = &verbs[i];
  if (!v)
    return unknown_verb(all->word[0]);
  const cli_words words = {all->word + 1, all->count - 1};
  if (words.count < v->least || words.count > v->most)
    return cli_usage("collection", "write: plumb collection %s %s", v->name, v->words);
  return v->read ? v->read(arguments, &words) : cli_collection_write(arguments, v->name, &words);
}

static int run(const cli_arguments *arguments) {
  cli_words all = {calloc(arguments->count + 1, sizeof *all.word), 0};
  if (!all.word)
    return cli_out_of_memory();
  for (size_t i = 0; i < arguments->count; i++)
    if (!arguments->item[i].option)
      all.word[all.count++] = arguments->item[i].value;
  const int status = run_verb(arguments, &all);
  free(all.word);
  return status;
}

const cli_command cli_collection = {
    "collection",
    "keep, approve, share and search known-good references",
    "VERB [options] ...",
    "init [DIR] makes a collection. add FILE... stores references as draft versions and captures as evidence. import FILE... stores many at "
    "once.\n"
    "list shows what there is, find WORD... searches it, show SELECTOR tells one, history type/name who did what to it when, diff A B what "
    "changed between two versions, in the good range, readings, conditions and good captures.\n"
    "approve, retire and withdraw SELECTOR... say what a version is worth; the author of a version cannot approve it unless \"set "
    "author-approves yes\" was said. restore type/name@2 makes an old version the newest one. add-case stores a proved fault.\n"
    "set NAME VALUE changes a setting, set alone tells them. fetch and send PATH-or-URL share the collection with another one: a folder, or any git address. check reads everything to its end; pack "
    "tidies many small files into one.\n"
    "A SELECTOR is type/name or type/name@VERSION; without a version the newest approved one is meant, else the newest draft. Vehicle tags, "
    "job numbers and people stay in a private part that is never sent; facts WORD tells them.",
    "  plumb collection list --type crank\n"
    "  plumb collection add learned.xml good-1.csv good-2.csv --why \"two vans of the fleet\"\n"
    "  plumb collection approve crank-inductive/idle --author \"Second Person\"\n"
    "  plumb collection diff crank-inductive/idle@1 crank-inductive/idle@2 --picture both.svg",
    options,
    run};
