#ifndef TESTS_REFS_SHELF_H
#define TESTS_REFS_SHELF_H
/** @file  Walks the shipped references. */
#include <dirent.h>
#include <plumbline/reference.h>
#include <stdio.h>
#include <string.h>

typedef void (*shelf_visit)(const char *name, const char *path, void *payload);

/** Calls `visit` for every TYPE/NAME that is shipped. @return how many */
static inline size_t shelf_each(shelf_visit visit, void *payload) {
  size_t count = 0;
  DIR *types = opendir(PLB_SOURCE_DIR "/refs/references");
  for (struct dirent *t; types && (t = readdir(types)) != NULL;) {
    char folder[1024];
    if (t->d_name[0] == '.')
      continue;
    snprintf(folder, sizeof folder, PLB_SOURCE_DIR "/refs/references/%.80s", t->d_name);
    DIR *names = opendir(folder);
    for (struct dirent *n; names && (n = readdir(names)) != NULL;) {
      char name[256], path[1400];
      if (n->d_name[0] == '.')
        continue;
      snprintf(name, sizeof name, "%.80s/%.80s", t->d_name, n->d_name);
      snprintf(path, sizeof path, "%s/%.80s/0001.xml", folder, n->d_name);
      visit(name, path, payload);
      count++;
    }
    if (names)
      closedir(names);
  }
  if (types)
    closedir(types);
  return count;
}
#endif
