/* Opening and making a collection. */
#include "collection/store/store.h"
#include "collection/read/plain.h"
#include "collection/read/small_xml.h"
#include "collection/read/types.h"
#include "collection/store/folder.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

plb_status plb_git_fail(plb_error *err, plb_status status, const char *what) {
  const git_error *e = git_error_last();
  return plb_fail(err, status, "%s: %.200s", what, e && e->message ? e->message : "unknown reason");
}

void plb_store_say(const plb_store *store, const char *format, ...) {
  if (!store->options.say)
    return;
  char line[1024];
  va_list values;
  va_start(values, format);
  vsnprintf(line, sizeof line, format, values);
  va_end(values);
  store->options.say(line, store->options.payload);
}

plb_status plb_git_begin(plb_error *err) {
  if (git_libgit2_init() < 0)
    return plb_git_fail(err, PLB_EINTERNAL, "libgit2 does not start");
  git_libgit2_opts(GIT_OPT_ENABLE_FSYNC_GITDIR, 1);
  git_libgit2_opts(GIT_OPT_ENABLE_STRICT_HASH_VERIFICATION, 1);
  git_libgit2_opts(GIT_OPT_SET_OWNER_VALIDATION, 0);
  return PLB_OK;
}

plb_status plb_store_open_at(plb_store **out, const char *folder, const plb_store_options *options, plb_error *err) {
  static const plb_store_options defaults = PLB_STORE_OPTIONS_INIT;
  *out = NULL;
  plb_status status = plb_git_begin(err);
  if (status != PLB_OK)
    return status;
  plb_store *s = plb_calloc(1, sizeof *s);
  if (!s) {
    git_libgit2_shutdown();
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  s->lock = -1;
  s->options = options ? *options : defaults;
  if (!plb_text_copy(s->folder, sizeof s->folder, folder))
    status = plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
  else if (git_repository_open_bare(&s->repository, folder) < 0)
    status = plb_fail(err, PLB_ENOINPUT, "this folder is no collection; make one with \"plumb collection init\"");
  else if (git_repository_odb(&s->odb, s->repository) < 0)
    status = plb_git_fail(err, PLB_EDATA, "the collection's objects cannot be opened");
  if (status != PLB_OK) {
    plb_store_free(s);
    return plb_fail_path(err, status, folder);
  }
  *out = s;
  return PLB_OK;
}

plb_status plb_store_open(plb_store **out, const char *folder, const plb_store_options *options, plb_error *err) {
  plb_status status = plb_store_open_at(out, folder, options, err);
  if (status == PLB_OK)
    status = plb_author_find((*out)->options.author, (*out)->author, err);
  if (status != PLB_OK) {
    plb_store_free(*out);
    *out = NULL;
  }
  return status;
}

void plb_store_free(plb_store *s) {
  if (!s)
    return;
  plb_store_unlock(s);
  git_odb_free(s->odb);
  git_repository_free(s->repository);
  free(s);
  git_libgit2_shutdown();
}

/* All 256 fan-out folders are made and flushed now: libgit2 does not flush objects/ when it makes one later. */
static plb_status make_folders(const char *folder, plb_error *err) {
  static const char *const flushed[] = {"HEAD", "config"};
  char path[PLB_PATH_SIZE + 64];
  plb_status status = PLB_OK;
  for (unsigned i = 0; i < 256; i++) {
    snprintf(path, sizeof path, "%s/objects/%02x", folder, i);
    if (mkdir(path, 0777) != 0 && errno != EEXIST)
      return plb_fail(err, PLB_ECREATE, "%.200s: %s", path, strerror(errno));
  }
  for (size_t i = 0; i < 2 && status == PLB_OK; i++) {
    snprintf(path, sizeof path, "%s/%s", folder, flushed[i]);
    status = plb_fsync_file(path, err);
  }
  static const char *const folders[] = {"objects", "objects/pack", "objects/info", "refs/heads", "refs", ""};
  for (size_t i = 0; i < sizeof folders / sizeof folders[0] && status == PLB_OK; i++) {
    snprintf(path, sizeof path, "%s/%s", folder, folders[i]);
    status = plb_fsync_folder(path, err);
  }
  return status;
}

plb_status plb_store_make(const char *folder, plb_error *err) {
  git_repository *r = NULL;
  git_repository_init_options options;
  git_repository_init_options_init(&options, GIT_REPOSITORY_INIT_OPTIONS_VERSION);
  options.flags = GIT_REPOSITORY_INIT_BARE | GIT_REPOSITORY_INIT_MKDIR | GIT_REPOSITORY_INIT_MKPATH | GIT_REPOSITORY_INIT_NO_REINIT;
  options.initial_head = "main";
  options.description = "known-good waveforms; see \"plumb collection --help\"\n";
  plb_status status = git_repository_init_ext(&r, folder, &options) < 0 ? plb_git_fail(err, PLB_ECREATE, "the collection cannot be made") : PLB_OK;
  git_repository_free(r);
  return status == PLB_OK ? make_folders(folder, err) : status;
}

static plb_status put_settings(plb_change *change, plb_error *err) {
  static const char settings[] = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<settings xmlns=\"" PLB_NS_SETTINGS "\">\n"
                                 "  <setting name=\"author-approves\" value=\"no\"/>\n</settings>\n";
  return plb_change_put(change, "settings.xml", settings, sizeof settings - 1, err);
}

static plb_status put_type(const char *path, const char *data, size_t size, void *payload, plb_error *err) {
  return plb_change_put(payload, path, data, size, err);
}

/* The types that the program knows; a collection can do without. */
static plb_status put_types(plb_change *change, plb_error *err) {
  char path[PLB_PATH_SIZE], *data = NULL;
  size_t size = 0;
  plb_error none = PLB_ERROR_INIT;
  if (plb_file_find_data("refs/types.xml", path, &none) != PLB_OK || plb_file_read(path, PLB_SMALL_MOST, &data, &size, &none) != PLB_OK)
    return PLB_OK;
  const plb_status status = plb_types_split(data, size, put_type, change, err);
  free(data);
  return status;
}

static plb_status fill(const char *folder, const char *from, const plb_store_options *options, plb_error *err) {
  plb_store *store = NULL;
  plb_change change = {0};
  plb_plain plain = {0};
  plb_status status = plb_store_open(&store, folder, options, err);
  if (status == PLB_OK && from)
    status = plb_plain_read(&plain, from, NULL, err);
  if (status == PLB_OK)
    status = plb_change_begin(&change, store, err);
  if (status == PLB_OK)
    status = put_settings(&change, err);
  if (status == PLB_OK && !from)
    status = put_types(&change, err);
  for (size_t i = 0; i < plain.count && status == PLB_OK; i++)
    status = plb_change_put(&change, plain.file[i]->path, plain.file[i]->row.data, plain.file[i]->row.size, err);
  if (status == PLB_OK)
    status = plb_change_commit(&change, from ? "Begin the collection with the starter collection" : "Begin the collection", err);
  plb_change_end(&change);
  plb_plain_dispose(&plain);
  plb_store_free(store);
  return status;
}

static bool empty_or_missing(const char *folder) {
  struct stat st;
  return stat(folder, &st) != 0 || (S_ISDIR(st.st_mode) && rmdir(folder) == 0);
}

static void make_parents(const char *folder) {
  char path[PLB_PATH_SIZE];
  if (!plb_text_copy(path, sizeof path, folder))
    return;
  for (char *slash = strchr(path + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
    *slash = '\0';
    mkdir(path, 0777);
    *slash = '/';
  }
}

/* Made beside and renamed: a killed init leaves no half collection behind. */
plb_status plb_store_init(const char *folder, const char *from, const plb_store_options *options, plb_error *err) {
  char making[PLB_PATH_SIZE], parent[PLB_PATH_SIZE];
  if (snprintf(making, sizeof making, "%s.making-%ld", folder, (long)getpid()) >= (int)sizeof making)
    return plb_fail(err, PLB_EUSAGE, "the collection's path is too long");
  if (!empty_or_missing(folder))
    return plb_fail_path(err, plb_fail(err, PLB_ECREATE, "there is something here already; name a folder that does not exist"), folder);
  plb_status status = plb_git_begin(err);
  if (status != PLB_OK)
    return status;
  make_parents(making);
  status = plb_store_make(making, err);
  if (status == PLB_OK)
    status = fill(making, from, options, err);
  if (status == PLB_OK && rename(making, folder) != 0)
    status = plb_fail(err, PLB_ECREATE, "the collection cannot be made: %s", strerror(errno));
  if (status == PLB_OK) {
    snprintf(parent, sizeof parent, "%s", folder);
    char *slash = strrchr(parent, '/');
    if (slash && slash != parent)
      *slash = '\0';
    status = plb_fsync_folder(slash ? parent : ".", err);
  } else {
    plb_folder_remove(making);
  }
  git_libgit2_shutdown();
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, folder);
}
