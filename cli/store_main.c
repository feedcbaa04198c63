/* plumb-store: the helper program that writes to collections. It takes the words of `plumb collection`, and one of its own,
 * --refresh-index FOLDER, with which a reader has the derived index made again. */
#include "collection.h"
#include "message.h"
#include "output.h"

#include <plumbline/store.h>
#include <plumbline/version.h>

#include <stdio.h>
#include <string.h>

static int refresh_index(const char *folder) {
  plb_error err = PLB_ERROR_INIT;
  return plb_store_refresh_index(folder, &err) == PLB_OK ? CLI_OK : cli_fail(&err);
}

static int run(int count, char *const *words) {
  cli_arguments arguments;
  int status = cli_arguments_parse(&arguments, cli_collection.name, cli_collection.options, count, words);
  if (status == 0)
    status = cli_collection.run(&arguments);
  cli_arguments_dispose(&arguments);
  return status;
}

int main(int count, char **words) {
  if (!cli_output_begin())
    return CLI_IO;
  if (count == 2 && strcmp(words[1], "--version") == 0) {
    printf("plumb-store %s\n", plb_version());
    return cli_output_finish(CLI_OK);
  }
  if (count == 3 && strcmp(words[1], "--refresh-index") == 0)
    return cli_output_finish(refresh_index(words[2]));
  if (count >= 3 && strcmp(words[1], "collection") == 0)
    return cli_output_finish(run(count - 2, words + 2));
  return cli_usage("collection", "this program is run by plumb");
}
