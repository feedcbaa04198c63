#ifndef CLI_COMMAND_H
#define CLI_COMMAND_H
/** @file  What a command is. Each cmd_NAME.c defines one; main.c lists them. */
#include "option.h"

typedef struct cli_command {
  const char *name;
  const char *summary;               /**< half a line for `plumb --help` */
  const char *usage;                 /**< what stands behind `plumb NAME` */
  const char *about;                 /**< paragraphs for `plumb NAME --help`, parted by newlines */
  const char *examples;              /**< whole lines */
  const cli_option *const *options;  /**< ends with NULL */
  int (*run)(const cli_arguments *); /**< @return the exit status */
} cli_command;

extern const cli_command cli_learn;
extern const cli_command cli_compare;
extern const cli_command cli_inspect;
extern const cli_command cli_measure;
extern const cli_command cli_pair;
extern const cli_command cli_peers;
extern const cli_command cli_locate;
extern const cli_command cli_connect;
extern const cli_command cli_trend;
extern const cli_command cli_search;
extern const cli_command cli_watch;
extern const cli_command cli_convert;
extern const cli_command cli_collection;

#endif
