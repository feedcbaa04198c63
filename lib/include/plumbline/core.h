#ifndef PLB_PUBLIC_CORE_H
#define PLB_PUBLIC_CORE_H
/** @file  What every program that writes our documents needs: a file is written whole or not at all. */
#include <plumbline/error.h>
PLB_BEGIN_DECLS

/**
 * Write beside the target, flush it to the disk and rename: the file is whole or not there; an existing one is replaced.
 * @return PLB_OK, PLB_ECREATE or PLB_EIO; err names the path
 */
PLB_API PLB_CHECKED plb_status plb_file_write(const char *path, const void *data, size_t size, plb_error *err);

PLB_END_DECLS
#endif
