#ifndef PLB_COMPARE_CONNECT_H
#define PLB_COMPARE_CONNECT_H
/** @file  Which channel of a capture is which channel of the reference. */
#include "compare/judge.h"

/**
 * The capture's channels in the reference's order, roles and units. How each was matched, when not by its role, goes to the recording check.
 * @return PLB_OK, PLB_EDATA (a channel is not there: the message shows the --channel to give), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_connect(plb_tracks **out, plb_verdict *v, const plb_capture *capture, const plb_reference *reference,
                                   plb_error *err);
#endif
