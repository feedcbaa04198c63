/* A new reference goes into the collection through the helper program. */
#include "collection/read/helper.h"

#include <stdio.h>
#include <string.h>

static plb_status status_of_exit(int code) {
  static const plb_status all[] = {PLB_EUSAGE, PLB_EDATA, PLB_ENOINPUT, PLB_EUNAVAILABLE, PLB_ECREATE, PLB_EIO, PLB_EBUSY, PLB_EREFUSED};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
    if (plb_status_exit(all[i]) == code)
      return all[i];
  return code == 0 ? PLB_OK : PLB_EINTERNAL;
}

enum { FIXED_WORDS = 10 }; /* collection, three options with their values, add, the document, NULL */

static size_t add_option(const char **words, size_t n, const char *name, const char *value) {
  if (value) {
    words[n++] = name;
    words[n++] = value;
  }
  return n;
}

plb_status plb_collection_add_draft(const plb_draft *draft, char *said_out, size_t size, plb_error *err) {
  char said[512] = "";
  const char **words = plb_calloc(draft->count + FIXED_WORDS, sizeof *words);
  if (!words)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  size_t n = 0;
  words[n++] = "collection";
  n = add_option(words, n, "--collection", draft->collection); /* else the helper finds where, and makes the user's own on the first write */
  n = add_option(words, n, "--author", draft->author);
  n = add_option(words, n, "--why", draft->why);
  words[n++] = "add";
  for (size_t i = 0; i < draft->count; i++)
    words[n++] = draft->captures[i];
  words[n++] = draft->path; /* last, so that what is said last tells its name and number */
  int code = 0;
  plb_status status = plb_helper_run(words, said, sizeof said, &code, err);
  free(words);
  if (status != PLB_OK)
    return status;
  if (said_out)
    snprintf(said_out, size, "%s", said);
  const char *message = strncmp(said, "plumb: ", 7) == 0 ? said + 7 : said;
  status = status_of_exit(code);
  return status == PLB_OK ? PLB_OK : plb_fail(err, status, "%.500s", message);
}
