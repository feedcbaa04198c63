/* Which folder is the collection: the option, the environment, the user's own, the starter collection. */
#include "collection/read/layout.h"
#include "core/core.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

static bool is_folder(const char *path) {
  struct stat st;
  return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

static bool own_folder(char *out) {
  const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
  if (data && data[0] == '/')
    return snprintf(out, PLB_PATH_SIZE, "%s/plumbline/collection", data) < PLB_PATH_SIZE;
  return home && home[0] == '/' && snprintf(out, PLB_PATH_SIZE, "%s/.local/share/plumbline/collection", home) < PLB_PATH_SIZE;
}

static const char *stated(const char *named) {
  if (named && named[0])
    return named;
  const char *set = getenv("PLUMBLINE_COLLECTION");
  return set && set[0] ? set : NULL;
}

plb_status plb_collection_where(const char *named, char *out, bool *starter_out, plb_error *err) {
  if (starter_out)
    *starter_out = false;
  const char *said = stated(named);
  if (said) {
    if (!plb_text_copy(out, PLB_PATH_SIZE, said))
      return plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
    if (is_folder(out))
      return PLB_OK;
    plb_fail(err, PLB_ENOINPUT, "there is no collection here; make one with \"plumb collection init --collection DIR\"");
    return plb_fail_path(err, PLB_ENOINPUT, said);
  }
  if (own_folder(out) && is_folder(out))
    return PLB_OK;
  plb_error ignored = PLB_ERROR_INIT;
  if (plb_file_find_data("refs/references", out, &ignored) == PLB_OK) {
    *strrchr(out, '/') = '\0';
    if (starter_out)
      *starter_out = true;
    return PLB_OK;
  }
  return plb_fail(err, PLB_ENOINPUT, "there is no collection yet, and no starter collection beside the program; make one with \"plumb collection init\"");
}

plb_status plb_collection_where_to_write(const char *named, char *out, plb_error *err) {
  const char *said = stated(named);
  if (said)
    return plb_text_copy(out, PLB_PATH_SIZE, said) ? PLB_OK : plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
  return own_folder(out) ? PLB_OK : plb_fail(err, PLB_ENOINPUT, "no home folder is known; say which with --collection DIR");
}
