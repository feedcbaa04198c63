#ifndef PLB_CORE_TEXT_H
#define PLB_CORE_TEXT_H
/** @file  Small text: fixed fields, slugs, quantities. Independent of the locale. */
#include <plumbline/error.h>
#include <stdarg.h>

enum { PLB_NUMBER_SIZE = 32 /**< room for any double that plb_text_from_number() writes */ };

/** snprintf and vsnprintf with the point as decimal mark whatever the locale; the same result as those. */
int plb_text_print(char *out, size_t size, const char *format, ...) PLB_PRINTF(3, 4);
int plb_text_vprint(char *out, size_t size, const char *format, va_list values) PLB_PRINTF(3, 0);

/** Bytes (1 to 4) of the well-formed UTF-8 character at `text`, 0 when there is none (also at the final NUL). */
size_t plb_text_utf8(const char *text);

/** After text was cut to fill all `size` bytes of `out`: drop a last character of which only the beginning is left. */
void plb_text_drop_cut(char *out, size_t size);

/** Copy into a fixed field; false (and out empty) when it does not fit. */
bool plb_text_copy(char *out, size_t size, const char *text);

/** Print into a fixed field, cut between characters to fit: for sentences, where a very long name may lose its tail. */
void plb_text_say(char *out, size_t size, const char *format, ...) PLB_PRINTF(3, 4);

/** A slug is [a-z0-9][a-z0-9-]{0,63}. */
bool plb_text_is_slug(const char *text);

/** A reference's name: 1 to 3 segments [a-z0-9][a-z0-9._-]{0,63} joined by '/'. */
bool plb_text_is_name(const char *text);

/** Parse one decimal number that must take up all `size` bytes (point as decimal mark, optional exponent); correctly rounded. */
bool plb_text_number(const char *text, size_t size, double *out);

/** Write the shortest of 15, 16 or 17 significant digits that reads back to the same value; "nan", "inf", "-inf" otherwise. */
void plb_text_from_number(double value, char out[PLB_NUMBER_SIZE]);

/**
 * Parse a number with an optional unit behind it, into the base unit asked for: "1kHz" with "Hz" gives 1000, "40ms" with "s" 0.04.
 * A bare number is taken in the base unit. Units: any that plb_unit_convert() can turn into `unit`.
 */
PLB_CHECKED plb_status plb_text_quantity(const char *text, const char *unit, double *out, plb_error *err);

/** Lower case in ASCII only. */
void plb_text_lower(char *text);

/** Levenshtein distance, for "did you mean"; both at most 63 characters, longer ones give a large number. */
size_t plb_text_distance(const char *a, const char *b);

#endif
