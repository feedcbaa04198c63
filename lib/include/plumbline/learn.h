#ifndef PLB_LEARN_H
#define PLB_LEARN_H
/** @file  Make a known-good reference from good captures. */
#include <plumbline/compare.h>
PLB_BEGIN_DECLS

/** Bands of IEC 61260-1 (base ten), or orders of the cycle. */
typedef enum plb_frequency_bands {
  PLB_FREQUENCY_AUTO,    /**< octaves: of what is left after the cycle, of the signal where it has none */
  PLB_FREQUENCY_NONE,
  PLB_FREQUENCY_OCTAVES,
  PLB_FREQUENCY_THIRDS,
  PLB_FREQUENCY_ORDERS   /**< of the signal: 1 to 12 times the cycle's rate */
} plb_frequency_bands;

typedef struct plb_learn_options {
  unsigned version;          /**< 1 */
  const char *type;          /**< slug, required without `like` */
  const char *name;          /**< type-relative or full "type/rest"; required without `like` */
  const char *title;         /**< NULL: made from type and name */
  plb_cycle_spec cycle;      /**< required */
  unsigned bands;            /**< equal cycle bands per channel; 0: 12 */
  double alpha;              /**< false-alarm share asked for; 0: 0.05 */
  const plb_stated *stated;  /**< conditions the reference speaks for */
  size_t stated_count;
  const char *date;          /**< ISO 8601; NULL: none is written */
  plb_provenance provenance; /**< default measured */
  const plb_reference *like; /**< keep its annotation, cycle and bands, and its type and name where none is given; NULL: none */
  plb_frequency_bands frequency; /**< which frequency bands are judged; default PLB_FREQUENCY_AUTO */
  const char *const *rule;   /**< [rules] "ROLE=RULE" for the amplitude; NULL: learn proposes */
  size_t rules;
  const char *const *offset_rule; /**< [offset_rules] "ROLE=RULE" for the offset */
  size_t offset_rules;
} plb_learn_options;
#define PLB_LEARN_OPTIONS_INIT {1, NULL, NULL, NULL, {PLB_CYCLE_STEADY, "", 0, 0, 0, {0, PLB_LEVEL_UNIT, ""}, 0, 0, ""}, 0, 0, NULL, 0, NULL, PLB_MEASURED, NULL, PLB_FREQUENCY_AUTO, NULL, 0, NULL, 0}

/** One good capture with the vehicle or session it came from; NULL group: not stated. Channels must carry their roles. */
typedef struct plb_good {
  const plb_capture *capture;
  const char *group;
  const char *name; /**< what to call it in the reference; NULL: its file name */
} plb_good;

/** What learn tells the user. */
typedef struct plb_learned {
  size_t captures, groups;   /**< groups 0: not stated */
  double limit, guard, promise, promise_upper90;
  char odd[PLB_TEXT_SIZE];   /**< the exemplar that sets the limit; empty: none */
  double odd_ratio;
  double *held_out;          /**< [captures] score of each against a reference learned without it (and its group) */
  char (*note)[PLB_TEXT_SIZE]; size_t notes; /**< what was chosen and why */
} plb_learned;

/**
 * @param learned_out  may be NULL; free with plb_learned_free()
 * @return PLB_OK, PLB_EDATA (fewer than 3 captures, no common cycle, channels or units that differ: the message names the file), PLB_EUSAGE, PLB_ENOMEM
 */
PLB_API PLB_CHECKED plb_status plb_learn(plb_reference **out, plb_learned **learned_out, const plb_good *good, size_t count,
                                         const plb_learn_options *options, plb_error *err);
PLB_API void plb_learned_free(plb_learned *learned); /**< NULL is fine */

PLB_END_DECLS
#endif
