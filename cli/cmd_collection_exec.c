/* In `plumb`: verbs that write are carried out by the helper program, which takes the same words. */
#include "collection.h"
#include "message.h"

#include <plumbline/collection.h>

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Options first, then "--", so that a file may be called anything. */
static char **helper_words(const cli_arguments *arguments, char *program) {
  char **words = calloc(2 * arguments->count + 4, sizeof *words);
  size_t n = 0;
  if (!words)
    return NULL;
  words[n++] = program;
  words[n++] = "collection";
  for (size_t i = 0; i < arguments->count; i++) {
    const cli_item *item = &arguments->item[i];
    if (!item->option)
      continue;
    const size_t size = strlen(item->option->name) + (item->value ? strlen(item->value) : 0) + 4;
    words[n] = malloc(size);
    if (words[n])
      snprintf(words[n], size, item->value ? "--%s=%s" : "--%s", item->option->name, item->value ? item->value : "");
    n++;
  }
  words[n++] = "--";
  for (size_t i = 0; i < arguments->count; i++)
    if (!arguments->item[i].option)
      words[n++] = (char *)(size_t)arguments->item[i].value;
  return words;
}

int cli_collection_write(const cli_arguments *arguments, const char *verb, const cli_words *words) {
  (void)verb;
  (void)words;
  char program[PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  if (plb_collection_helper(program, &err) != PLB_OK)
    return cli_fail(&err);
  char **argv = helper_words(arguments, program);
  if (!argv)
    return cli_out_of_memory();
  fflush(stdout);
  execv(program, argv);
  cli_note("%s: cannot be started: %s; install it again", program, strerror(errno));
  return plb_status_exit(PLB_EUNAVAILABLE);
}
