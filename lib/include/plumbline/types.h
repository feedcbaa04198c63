#ifndef PLB_TYPES_H
#define PLB_TYPES_H
/** @file  Attributes and small types that every public header uses. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
#define PLB_BEGIN_DECLS extern "C" {
#define PLB_END_DECLS }
#else
#define PLB_BEGIN_DECLS
#define PLB_END_DECLS
#endif

#if defined(__GNUC__)
#define PLB_API __attribute__((visibility("default")))
#define PLB_CHECKED __attribute__((warn_unused_result))
#define PLB_PRINTF(string, first) __attribute__((format(printf, string, first)))
#else
#define PLB_API
#define PLB_CHECKED
#define PLB_PRINTF(string, first)
#endif

/** Sizes of fixed text fields, the final NUL included. Longer text is refused on reading, never cut silently. */
enum {
  PLB_NAME_SIZE = 64,  /**< roles, bands, readings, codes */
  PLB_UNIT_SIZE = 32,  /**< a UCUM code */
  PLB_TEXT_SIZE = 256, /**< one sentence */
  PLB_PATH_SIZE = 1024,
  PLB_HASH_SIZE = 65 /**< SHA-256 in lower-case hexadecimal */
};

#endif
