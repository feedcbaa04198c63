#ifndef PLB_MODEL_WHEEL_H
#define PLB_MODEL_WHEEL_H
/** @file  Toothed wheels: the flux that a pole sees at each angle, and the inductive sensor that reads its change. */
#include "model/draw.h"

enum { PLB_WHEEL_CELLS = 32 }; /**< table cells for each tooth pitch */

typedef struct plb_wheel_cut {
  int positions, missing; /**< teeth fill half a pitch; the missing ones are the last */
  int damaged;            /**< position of the damaged tooth, from 0 */
  double bent;            /**< share of its height that it lost */
  double debris;          /**< height of metal in the first missing position */
  double gap_pitches;     /**< air gap over tooth pitch */
  double runout;          /**< relative swing of the gap once a turn */
} plb_wheel_cut;

/** Height under the sensor, [size: positions * PLB_WHEEL_CELLS]. */
void plb_wheel_profile(const plb_wheel_cut *cut, double *profile);
/** Flux over one turn for a profile of `cells`: 1 over a wide tooth, 0 over a wide gap. pitch_cells: cells of a
 * tooth pitch. */
PLB_CHECKED plb_status plb_wheel_flux(const double *profile, int cells, int pitch_cells, double gap_cells,
                                      double runout, double *flux, plb_error *err);

typedef struct plb_inductive_set {
  int positions, missing;
  int cylinders; /**< of the engine that turns it; 0: it turns evenly */
  bool cranking;
  double linkage_wb;                             /**< flux linkage between a wide gap and a wide tooth */
  double gap_pitches;                            /**< air gap over tooth pitch */
  double coil_ohm, coil_h, series_ohm, load_ohm; /**< series_ohm: the input's, before the test point */
  double clamp_high_v, clamp_low_v;              /**< both 0: the input is not clamped */
  double runout;                                 /**< usual relative swing of the gap, once a turn */
} plb_inductive_set;

/** The sensor's voltage for a wheel that stands at turns[i] at sample i; `out` may be the same array. Faults by
 * the names of the family. */
PLB_CHECKED plb_status plb_inductive_render(plb_draw *draw, const plb_inductive_set *set, const double *turns,
                                            double *out, plb_error *err);

typedef struct plb_hall_set {
  int positions, missing; /**< toothed wheel; positions 0: windows instead */
  const double *window;   /**< pairs of first and last angle of each tooth, in turns, ends with a negative number */
  double gap_pitches;
  double pull_v, pull_ohm, farad; /**< of the control unit and the wire */
} plb_hall_set;

/** The open collector's voltage for a wheel at turns[i]; `out` may be the same array. `connected` false:
 * nothing pulls it up. */
PLB_CHECKED plb_status plb_hall_render(plb_draw *draw, const plb_hall_set *set, bool connected, const double *turns,
                                       double *out, plb_error *err);
#endif
