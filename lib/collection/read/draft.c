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

plb_status plb_collection_add_draft(const char *named, const char *path, const char *const *captures, size_t count, char *said_out,
                                    size_t size, plb_error *err) {
  char folder[PLB_PATH_SIZE], said[512] = "";
  plb_status status = plb_collection_where_to_write(named, folder, err);
  if (status != PLB_OK)
    return status;
  const char **words = plb_calloc(count + 7, sizeof *words);
  if (!words)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  size_t n = 0;
  words[n++] = "collection";
  words[n++] = "--collection";
  words[n++] = folder;
  words[n++] = "add";
  words[n++] = path;
  for (size_t i = 0; i < count; i++)
    words[n++] = captures[i];
  int code = 0;
  status = plb_helper_run(words, said, sizeof said, &code, err);
  free(words);
  if (status != PLB_OK)
    return status;
  if (said_out)
    snprintf(said_out, size, "%s", said);
  const char *message = strncmp(said, "plumb: ", 7) == 0 ? said + 7 : said;
  status = status_of_exit(code);
  return status == PLB_OK ? PLB_OK : plb_fail(err, status, "%.500s", message);
}
