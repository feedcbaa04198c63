#ifndef CLI_INPUT_H
#define CLI_INPUT_H
/** @file  The captures a command was given: files and lists of files, their groups, channels and rate. */
#include "option.h"

#include <plumbline/capture.h>
#include <plumbline/compare.h>

extern const cli_option cli_opt_channel;
extern const cli_option cli_opt_rate;
extern const cli_option cli_opt_files_from;
extern const cli_option cli_opt_condition;
/** What is done to every recording before it is looked at, in this order. */
extern const cli_option cli_opt_rated, cli_opt_zero, cli_opt_scale, cli_opt_invert, cli_opt_ac_couple, cli_opt_filter;

/** One capture file; both strings live as long as the inputs. */
typedef struct cli_input {
  const char *path;
  const char *group; /**< vehicle or session, NULL: not stated */
} cli_input;

typedef struct cli_inputs {
  cli_input *item;
  size_t count;
  const char **channel_text; /**< as typed, for the record of the request */
  plb_channel_map *channel;
  size_t channels;
  const char **condition_text;
  plb_stated *condition;
  size_t conditions;
  char **conditioning_text; /**< with the option's name: "zero=pump=0s..0.5s" */
  plb_conditioning *conditioning;
  size_t conditionings;
  bool told; /**< the command's own report tells what was applied; else a note on standard error does */
  plb_read_options reading;
  char **kept; /**< strings that must be freed: lines of lists, names of folders */
  size_t kepts, kept_room;
} cli_inputs;

/**
 * Gather everything above from the arguments.
 * @param group  the option that names the group of the captures after it; NULL: the command has none
 * @return 0, or an exit status after a message
 */
int cli_inputs_gather(cli_inputs *out, const cli_arguments *arguments, const cli_option *group);
void cli_inputs_dispose(cli_inputs *inputs);

/**
 * Name each capture's group after its folder: the part of the path in which the captures differ.
 * @return 0, or an exit status after a message
 */
int cli_inputs_group_by_folder(cli_inputs *inputs);

/** Read one capture and give its channels their roles. Safe to call from several threads. */
plb_status cli_inputs_read(const cli_inputs *inputs, size_t index, plb_capture **out, plb_error *err);

/** Parse one text of `conditioning_text`. */
plb_status cli_conditioning_parse(const char *text, plb_conditioning *out, plb_error *err);

/** "1kHz", "50 kS/s", "44100" -> samples per second; 0 when it is none of these. */
double cli_rate_hz(const char *text);

#endif
