#ifndef PLB_COLLECTION_FOLDER_H
#define PLB_COLLECTION_FOLDER_H
/** @file  Walking and removing folders. */
#include <stdbool.h>
#include <stddef.h>

/** Called for every regular file below a folder; false stops. */
typedef bool (*plb_folder_visit)(const char *path, void *payload);
/** Symbolic links are not followed. @return false when it was stopped */
bool plb_folder_walk(const char *folder, plb_folder_visit visit, void *payload);
/** Remove a folder and everything in it, links themselves and not what they point to. */
void plb_folder_remove(const char *folder);

#endif
