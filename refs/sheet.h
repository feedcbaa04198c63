#ifndef PLB_REFS_SHEET_H
#define PLB_REFS_SHEET_H
/**
 * @file  One sheet says all that people wrote about one shipped reference: subject, conditions, connection with cautions,
 * sections with what good looks like and what to check next, limits with their source, and from which family of models its
 * good captures are drawn. refs/README.md describes the lines.
 */
#include "model/model.h"
#include "reference/model.h"
#include <plumbline/learn.h>

/** A name for one landmark, counted from 1 in the order of the cycle. */
typedef struct sheet_mark {
  size_t number;
  char name[PLB_NAME_SIZE];
} sheet_mark;

/** Where a section begins and ends, as written: "0.25", "rise-1", "rise-1+0.02", "fall-2-300us". */
typedef struct sheet_bound {
  char from[PLB_NAME_SIZE], to[PLB_NAME_SIZE];
} sheet_bound;

enum { SHEET_MARKS_MOST = 32, SHEET_LIMITS_MOST = 64, SHEET_BANDS_MOST = 128 };

typedef struct sheet {
  char path[PLB_PATH_SIZE];
  plb_reference *words; /**< type, name, title, why, subject, conditions, connection, bands; its cycle is only the spec */
  const plb_model_family *family;
  const char *state; /**< of the family; NULL: the usual one. Owned. */
  unsigned exemplars;
  double rate_hz, duration_s; /**< 0: as the family draws them */
  sheet_mark mark[SHEET_MARKS_MOST];
  size_t marks;
  sheet_bound bound[SHEET_BANDS_MOST]; /**< [words->bands] */
  plb_reading_limit limit[SHEET_LIMITS_MOST]; /**< stated by a source */
  size_t limits;
  bool standard;  /**< set by a published standard: channels and limits, no captures */
  bool own_cycle; /**< the sheet states a cycle; else the family's */
} sheet;

/** Cautions are written once, in refs/cautions.txt, and named in the sheets. */
typedef struct sheet_cautions {
  struct sheet_caution {
    char name[PLB_NAME_SIZE];
    char *text;
  } * caution;
  size_t count, capacity;
} sheet_cautions;

PLB_CHECKED plb_status sheet_cautions_read(sheet_cautions *out, const char *path, plb_error *err);
void sheet_cautions_dispose(sheet_cautions *cautions);

/** @param name  "type/rest" of the reference */
PLB_CHECKED plb_status sheet_read(sheet *out, const char *path, const char *name, const sheet_cautions *cautions, plb_error *err);
void sheet_dispose(sheet *s);

/**
 * Turn the written bounds of the cycle sections into phases, now that the marks are known.
 * @return PLB_OK, PLB_EDATA (no such mark, or a section without length)
 */
PLB_CHECKED plb_status sheet_place_bands(sheet *s, const plb_cycle_choice *choice, plb_error *err);
#endif
