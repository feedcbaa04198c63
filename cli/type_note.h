#ifndef CLI_TYPE_NOTE_H
#define CLI_TYPE_NOTE_H
/** @file  A word about a sensor type that the collection does not list: a type may have any name, but a slip makes a second shelf. */

#include <plumbline/collection.h>

/** The type that a word may mean that is neither type nor alias; NULL: none is near. Lives as long as the collection. */
const char *cli_near_type(const plb_collection *collection, const char *word);

/** Say so where it is no type of the collection. @param named  the collection, as --collection names it; NULL: as found. Where none can be read, nothing is said. */
void cli_note_type(const char *type, const char *named);
#endif
