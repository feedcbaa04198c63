#ifndef CLI_OPTION_H
#define CLI_OPTION_H
/**
 * @file  One table of options for each command: it drives the parsing and is what --help prints.
 * Options may stand anywhere; `--` ends them.
 */
#include <stdbool.h>
#include <stddef.h>

typedef struct cli_option {
  const char *name;  /**< without the dashes */
  char letter;       /**< one-letter form, 0: none */
  const char *value; /**< what --help calls the value, "FILE"; NULL: a switch */
  bool repeats;      /**< may be given more than once */
  const char *help;  /**< one or more sentences, wrapped by --help */
} cli_option;

/** One thing the user gave, in the order given. */
typedef struct cli_item {
  const cli_option *option; /**< NULL: a file */
  const char *value;        /**< NULL: a switch */
} cli_item;

typedef struct cli_arguments {
  const char *command; /**< its name, for messages */
  cli_item *item;
  size_t count;
} cli_arguments;

/**
 * Sort the words behind the command's name into options and files.
 * @param options  ends with NULL
 * @return 0, or an exit status after saying what is wrong
 */
int cli_arguments_parse(cli_arguments *out, const char *command, const cli_option *const *options, int count,
                        char *const *words);
void cli_arguments_dispose(cli_arguments *arguments);

bool cli_given(const cli_arguments *arguments, const cli_option *option);
/** The value of an option that is given at most once, NULL: not given. */
const char *cli_value(const cli_arguments *arguments, const cli_option *option);
/** All values of an option that repeats. @param out [size: arguments->count] @return how many */
size_t cli_values(const cli_arguments *arguments, const cli_option *option, const char **out);

/** Read a whole number in lowest..highest from an option's value. @return 0, or 64 after a message */
int cli_whole(const cli_arguments *arguments, const cli_option *option, long lowest, long highest, long *out);

/** The nearest of several names, or NULL when none is near enough to suggest. `names` ends with NULL. */
const char *cli_nearest(const char *word, const char *const *names);

/** Print `text` indented and wrapped to 80 columns. */
void cli_wrap(const char *text, int indent);
/** Print the rows of an option table, as --help shows them. */
void cli_option_help(const cli_option *const *options);

#endif
