#ifndef CLI_TYPE_NOTE_H
#define CLI_TYPE_NOTE_H
/** @file  A word about a sensor type that the collection does not list: a type may have any name, but a slip makes a second shelf. */

/** @param named  the collection, as --collection names it; NULL: as found. Where none can be read, nothing is said. */
void cli_note_type(const char *type, const char *named);
#endif
