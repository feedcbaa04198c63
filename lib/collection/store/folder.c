#include "collection/store/folder.h"
#include <plumbline/types.h>

#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool dots(const char *name) { return strcmp(name, ".") == 0 || strcmp(name, "..") == 0; }

bool plb_folder_walk(const char *folder, plb_folder_visit visit, void *payload) {
  DIR *dir = opendir(folder);
  bool go_on = true;
  for (struct dirent *entry; dir && go_on && (entry = readdir(dir)) != NULL;) {
    char path[2 * PLB_PATH_SIZE];
    struct stat st;
    if (dots(entry->d_name) || snprintf(path, sizeof path, "%s/%s", folder, entry->d_name) >= (int)sizeof path || lstat(path, &st) != 0)
      continue;
    if (S_ISDIR(st.st_mode))
      go_on = plb_folder_walk(path, visit, payload);
    else if (S_ISREG(st.st_mode))
      go_on = visit(path, payload);
  }
  if (dir)
    closedir(dir);
  return go_on;
}

void plb_folder_remove(const char *folder) {
  DIR *dir = opendir(folder);
  for (struct dirent *entry; dir && (entry = readdir(dir)) != NULL;) {
    char path[2 * PLB_PATH_SIZE];
    struct stat st;
    if (dots(entry->d_name) || snprintf(path, sizeof path, "%s/%s", folder, entry->d_name) >= (int)sizeof path || lstat(path, &st) != 0)
      continue;
    if (S_ISDIR(st.st_mode))
      plb_folder_remove(path);
    else
      unlink(path);
  }
  if (dir)
    closedir(dir);
  rmdir(folder);
}
