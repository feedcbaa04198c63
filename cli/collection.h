#ifndef CLI_COLLECTION_H
#define CLI_COLLECTION_H
/** @file  The group `plumb collection VERB`: its options, and who carries out which verb. */
#include "command.h"

extern const cli_option cli_opt_collection, cli_opt_author, cli_opt_why, cli_opt_from, cli_opt_vehicle, cli_opt_job, cli_opt_person,
    cli_opt_keep, cli_opt_type, cli_opt_condition_range, cli_opt_provenance, cli_opt_status, cli_opt_all, cli_opt_captures, cli_opt_cases,
    cli_opt_types, cli_opt_xml, cli_opt_picture, cli_opt_cause, cli_opt_proof, cli_opt_repair, cli_opt_before, cli_opt_after,
    cli_opt_departed, cli_opt_verdict, cli_opt_listing_json;

/** The words behind the verb. */
typedef struct cli_words {
  const char **word;
  size_t count;
} cli_words;

/** Verbs that read; carried out by `plumb` itself. */
int cli_collection_list(const cli_arguments *arguments, const cli_words *words);
int cli_collection_find(const cli_arguments *arguments, const cli_words *words);
int cli_collection_show(const cli_arguments *arguments, const cli_words *words);
int cli_collection_history(const cli_arguments *arguments, const cli_words *words);
int cli_collection_diff(const cli_arguments *arguments, const cli_words *words);

/** Verbs that write: `plumb` hands them to the helper program, plumb-store carries them out. */
int cli_collection_write(const cli_arguments *arguments, const char *verb, const cli_words *words);

#endif
