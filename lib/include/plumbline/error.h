#ifndef PLB_ERROR_H
#define PLB_ERROR_H
/** @file  What went wrong, where, and what to do. The library never prints and never exits. */
#include <plumbline/types.h>
PLB_BEGIN_DECLS

/** Result of a call. Values never change; new ones are added at the end. */
typedef enum plb_status {
  PLB_OK = 0,
  PLB_EUSAGE = -1,       /**< the request makes no sense (exit 64) */
  PLB_EDATA = -2,        /**< the input is malformed or unfit for the request (exit 65) */
  PLB_ENOINPUT = -3,     /**< the input does not exist or cannot be opened (exit 66) */
  PLB_EUNAVAILABLE = -4, /**< a helper program or a remote is missing (exit 69) */
  PLB_EINTERNAL = -5,    /**< a bug in this library (exit 70) */
  PLB_ECREATE = -6,      /**< an output cannot be created (exit 73) */
  PLB_EIO = -7,          /**< reading or writing failed (exit 74) */
  PLB_EBUSY = -8,        /**< the collection is held by another writer (exit 75) */
  PLB_EREFUSED = -9,     /**< a rule forbids it, e.g. the two-person rule (exit 77) */
  PLB_ENOMEM = -10,      /**< out of memory, or over a stated budget (exit 70) */
  PLB_EINVAL = -11       /**< a caller's bug: an argument breaks the contract (exit 70) */
} plb_status;

/** Detail of a failure; the last parameter of calls that can fail, may be NULL. Zero-initialise it. */
typedef struct plb_error {
  plb_status status;
  char path[PLB_PATH_SIZE]; /**< file or object, empty if none */
  int64_t line;             /**< from 1; 0: none */
  int64_t column;           /**< from 1; 0: none */
  int64_t byte;             /**< byte offset from 0; -1: none. Only read when line is 0 */
  char message[512];        /**< "what is wrong; what to do", one line, no trailing dot */
} plb_error;

#define PLB_ERROR_INIT {PLB_OK, "", 0, 0, -1, ""}

/** @return one plain sentence for a status, never NULL. */
PLB_API const char *plb_status_text(plb_status status);

/** @return the exit status of CONVENTIONS for a failure: 64, 65, 66, 69, 70, 73, 74, 75 or 77; 0 for PLB_OK. */
PLB_API int plb_status_exit(plb_status status);

/**
 * Write "PATH:LINE:COLUMN: message", "PATH@BYTE: message", "PATH: message" or "message" into `out`.
 * @param size  [bytes] of out, > 0; the text is cut to fit and always ends in NUL
 */
PLB_API void plb_error_format(const plb_error *error, char *out, size_t size);

PLB_END_DECLS
#endif
