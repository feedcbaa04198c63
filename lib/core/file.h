#ifndef PLB_CORE_FILE_H
#define PLB_CORE_FILE_H
/** @file  Whole files in, whole files out. */
#include <plumbline/core.h> /* plb_file_write */
#include <plumbline/error.h>

/**
 * Read a whole regular file or pipe.
 * @param most  [bytes] refuse anything larger with PLB_EDATA
 * @param data_out  malloc'ed, NUL-terminated one past the end; free() it
 * @return PLB_OK, PLB_ENOINPUT (missing, a directory, no permission), PLB_EDATA (too large), PLB_EIO, PLB_ENOMEM; err names the path
 */
PLB_CHECKED plb_status plb_file_read(const char *path, size_t most, char **data_out, size_t *size_out, plb_error *err);

/**
 * Find an installed data file: PLUMBLINE_DATA, then beside the running program (../share/plumbline), then the source tree.
 * @param name  e.g. "schema/reference.xsd"
 * @param out  [size: PLB_PATH_SIZE]
 */
PLB_CHECKED plb_status plb_file_find_data(const char *name, char *out, plb_error *err);

#endif
