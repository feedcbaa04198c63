/**
 * report: say it. Verdicts, captures and what was learned as text for people, as JSON for programs and as pictures.
 * It owns the words, the layout and the drawing layer on which every later picture builds. It only reads results:
 * it must not judge, measure again or change what it was given.
 */
#ifndef PLB_REPORT_REPORT_H
#define PLB_REPORT_REPORT_H
#include "core/core.h"
#include "signal/signal.h"
#include "capture/capture.h"
#include "cycle/cycle.h"
#include "reference/model.h"
#include <plumbline/report.h>

#include "report/page.h"
#include "report/say.h"

/** Hand a finished buffer to the caller as malloc'ed text, or free it and say why not. */
PLB_CHECKED plb_status plb_report_take(plb_buffer *b, char **out, plb_error *err);

#endif
