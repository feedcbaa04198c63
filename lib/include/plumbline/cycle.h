#ifndef PLB_CYCLE_H
#define PLB_CYCLE_H
/** @file  What repeats in a signal, as the user states it: `--cycle KIND[:key=value,...]`. */
#include <plumbline/error.h>
#include <plumbline/types.h>
PLB_BEGIN_DECLS

typedef enum plb_cycle_kind {
  PLB_CYCLE_WHEEL,   /**< toothed wheel: one or two revolutions */
  PLB_CYCLE_EDGE,    /**< a level crossing starts the cycle */
  PLB_CYCLE_REPEAT,  /**< any periodic signal */
  PLB_CYCLE_ONCE,    /**< the capture is one event */
  PLB_CYCLE_AGAINST, /**< along another channel's value */
  PLB_CYCLE_STEADY   /**< no cycle */
} plb_cycle_kind;

typedef enum plb_level_of { PLB_LEVEL_UNIT, PLB_LEVEL_STATES, PLB_LEVEL_SUPPLY } plb_level_of;
/** "7V", "50%states", "50%supply". */
typedef struct plb_level {
  double value; /**< in `unit`, or percent */
  plb_level_of of;
  char unit[PLB_UNIT_SIZE]; /**< as written behind the number, UCUM; empty: the channel's unit */
} plb_level;

typedef struct plb_cycle_spec {
  plb_cycle_kind kind;
  char channel[PLB_NAME_SIZE]; /**< role that gives the cycle; empty: the first channel */
  int teeth, missing, revs;    /**< wheel: tooth positions 3..512, missing 0..8, revs 1 or 2 */
  plb_level level;             /**< edge; value NaN: learn chooses (50%states) */
  int slope;                   /**< edge: +1 rising, -1 falling, 0: learn chooses */
  double period_s;             /**< repeat: a hint, searched 0.5 .. 1.7 times; 0: none */
  char against[PLB_NAME_SIZE]; /**< against: the other channel's role */
} plb_cycle_spec;

/** Parse the text behind --cycle. @return PLB_OK or PLB_EUSAGE with a message that shows a right example */
PLB_API PLB_CHECKED plb_status plb_cycle_spec_parse(const char *text, plb_cycle_spec *out, plb_error *err);
/** Write it back as one would type it. @param size  of out, at least PLB_TEXT_SIZE */
PLB_API void plb_cycle_spec_format(const plb_cycle_spec *spec, char *out, size_t size);
/** "wheel", "edge", ... */
PLB_API const char *plb_cycle_kind_name(plb_cycle_kind kind);

PLB_END_DECLS
#endif
