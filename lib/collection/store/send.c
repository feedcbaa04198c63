/* Sending is a git push of the one branch. What is private lies in another repository and cannot go along. */
#include "collection/store/store.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

typedef struct answer {
  char refused[256];
  const plb_store *store;
  bool over;                   /**< the user has said that ours replaces theirs */
  char replaced[PLB_PATH_SIZE]; /**< a version of theirs that would become another document, or vanish */
} answer;

static int on_difference(const git_diff_delta *delta, float progress, void *payload) {
  answer *a = payload;
  plb_path where;
  (void)progress;
  if (delta->status != GIT_DELTA_ADDED && plb_path_parse(delta->old_file.path, &where) == PLB_PATH_REFERENCE && !a->replaced[0])
    snprintf(a->replaced, sizeof a->replaced, "%s@%u", where.name, where.version);
  return 0;
}

/* A version never changes: not by a send either, unless its owner's side is asked. Called when both heads are known and nothing is sent yet. */
static int on_negotiation(const git_push_update **updates, size_t count, void *payload) {
  answer *a = payload;
  git_commit *theirs = NULL, *ours = NULL;
  git_tree *old = NULL, *new = NULL;
  git_diff *diff = NULL;
  git_repository *r = a->store->repository;
  for (size_t i = 0; i < count && !a->over; i++) {
    if (git_commit_lookup(&theirs, r, &updates[i]->src) == 0 && git_commit_lookup(&ours, r, &updates[i]->dst) == 0 &&
        git_commit_tree(&old, theirs) == 0 && git_commit_tree(&new, ours) == 0 && git_diff_tree_to_tree(&diff, r, old, new, NULL) == 0)
      git_diff_foreach(diff, on_difference, NULL, NULL, NULL, a);
    git_diff_free(diff);
    git_tree_free(old);
    git_tree_free(new);
    git_commit_free(theirs);
    git_commit_free(ours);
    diff = NULL;
    old = new = NULL;
    theirs = ours = NULL;
  }
  return a->replaced[0] ? GIT_EUSER : 0;
}

static int on_reference(const char *name, const char *status, void *payload) {
  answer *a = payload;
  (void)name;
  if (status)
    snprintf(a->refused, sizeof a->refused, "%s", status);
  return 0;
}

bool plb_url_is_missing_folder(const char *url) {
  struct stat st;
  return !strstr(url, "://") && !strchr(url, ':') && stat(url, &st) != 0 && errno == ENOENT;
}

/* A folder on this machine, named as a path or as file:///path; else NULL. */
static const char *local_folder(const char *url) {
  static const char scheme[] = "file://";
  const char *path = strncmp(url, scheme, sizeof scheme - 1) == 0 ? url + sizeof scheme - 1 : url;
  struct stat st;
  return stat(path, &st) == 0 && S_ISDIR(st.st_mode) ? path : NULL;
}

/*
 * Into a folder, libgit2 moves the branch without looking whether it is still where it was when the push began: a version that was
 * added there meanwhile would be lost. So the other collection's writers wait for us.
 */
static plb_status hold_other(plb_store **out, const plb_store *s, const char *url, plb_error *err) {
  const char *folder = local_folder(url);
  plb_store_options options = s->options;
  options.say = NULL;
  *out = NULL;
  if (!folder)
    return PLB_OK;
  plb_status status = plb_store_open_at(out, folder, &options, err);
  if (status == PLB_OK)
    status = plb_store_lock(*out, err);
  return status == PLB_OK ? plb_store_mark(*out, true, err) : status;
}

static void release_other(plb_store *other) {
  plb_error ignored = PLB_ERROR_INIT;
  if (other && other->lock >= 0 && plb_store_mark(other, false, &ignored) != PLB_OK)
    plb_store_sweep(other, 0);
  plb_store_free(other);
}

static plb_status say_failure(int code, const answer *a, const char *url, plb_error *err) {
  if (a->replaced[0])
    return plb_fail(err, PLB_EREFUSED,
                    "%.200s holds another %.200s; let them fetch from here and say which to keep, or send with --keep mine to put yours in its place",
                    url, a->replaced);
  if (code == GIT_ENONFASTFORWARD || a->refused[0])
    return plb_fail(err, PLB_EREFUSED, "%.200s has something this collection has not; fetch from it first%s%.100s", url, a->refused[0] ? ": " : "", a->refused);
  if (code == GIT_ECERTIFICATE)
    return plb_fail(err, PLB_EUNAVAILABLE, "%.200s: the host's key is not known; connect to it once with ssh and accept the key", url);
  return plb_git_fail(err, PLB_EUNAVAILABLE, "it cannot be sent there");
}

plb_status plb_store_send(plb_store *s, const char *url, bool keep_mine, plb_error *err) {
  git_remote *remote = NULL;
  plb_store *other = NULL;
  answer a = {.store = s, .over = keep_mine};
  git_push_options options;
  git_push_options_init(&options, GIT_PUSH_OPTIONS_VERSION);
  options.callbacks.push_update_reference = on_reference;
  options.callbacks.push_negotiation = on_negotiation;
  options.callbacks.payload = &a;
  char spec[] = "refs/heads/main:refs/heads/main";
  char *specs[] = {spec};
  const git_strarray what = {specs, 1};
  if (plb_url_is_missing_folder(url)) {
    const plb_status made = plb_store_make(url, err);
    if (made != PLB_OK)
      return plb_fail_path(err, made, url);
  }
  plb_status status = hold_other(&other, s, url, err);
  if (status == PLB_OK && git_remote_create_anonymous(&remote, s->repository, url) < 0)
    status = plb_git_fail(err, PLB_EUSAGE, "this is no address that git knows");
  else if (status == PLB_OK) {
    const int code = git_remote_push(remote, &what, &options);
    if (code < 0 || a.refused[0])
      status = say_failure(code, &a, url, err);
  }
  git_remote_free(remote);
  release_other(other);
  if (status == PLB_OK)
    plb_store_say(s, "sent to %s", url);
  return status;
}
