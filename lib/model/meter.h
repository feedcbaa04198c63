#ifndef PLB_MODEL_METER_H
#define PLB_MODEL_METER_H
/** @file  From the test point to codes: lead, probe or clamp, instrument, and what can go wrong in measuring. */
#include "model/draw.h"

size_t plb_mistake_count(void);
const plb_model_fault *plb_mistake_at(size_t index);
/** Can this mistake be made with the way the family is connected? */
bool plb_mistake_possible(const plb_model_family *family, plb_fault_kind kind);

/** Record the channels of `draw` into `capture`: mistakes of the lead, bandwidth, gain and zero of the
 * instrument, noise, steps, range. */
PLB_CHECKED plb_status plb_meter_record(plb_draw *draw, plb_capture *capture, plb_error *err);
#endif
