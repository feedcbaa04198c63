#include "report/report.h"

plb_status plb_report_take(plb_buffer *b, char **out, plb_error *err) {
  *out = NULL;
  if (b->status == PLB_OK && !b->data)
    plb_buffer_puts(b, "");
  if (b->status != PLB_OK) {
    const plb_status status = b->status;
    plb_buffer_dispose(b);
    return plb_fail(err, status, "no memory for the report; close other programs and try again");
  }
  *out = b->data;
  return PLB_OK;
}
