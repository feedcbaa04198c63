#include "learn/like.h"
#include <string.h>

static bool copy_text(plb_string *out, plb_string from) {
  if (from == NULL) {
    return true;
  }
  free(*out);
  *out = plb_strdup(from);
  return *out != NULL;
}

static bool copy_pointers(plb_band *out, const plb_band *from) {
  out->pointer = plb_calloc(from->pointers, sizeof *out->pointer);
  if (out->pointer == NULL) {
    return false;
  }
  out->pointers = from->pointers;
  bool ok = true;
  for (size_t p = 0; p < from->pointers; p++) {
    memcpy(out->pointer[p].direction, from->pointer[p].direction, sizeof out->pointer[p].direction);
    ok = ok && copy_text(&out->pointer[p].text, from->pointer[p].text);
  }
  return ok;
}

static bool copy_bands(plb_reference *r, const plb_reference *like) {
  r->band = plb_calloc(like->bands, sizeof *r->band);
  if (r->band == NULL) {
    return false;
  }
  r->bands = like->bands;
  bool ok = true;
  for (size_t b = 0; b < like->bands; b++) {
    r->band[b] = like->band[b];
    r->band[b].good = NULL;
    r->band[b].pointer = NULL;
    r->band[b].pointers = 0;
    ok = ok && copy_text(&r->band[b].good, like->band[b].good) && copy_pointers(&r->band[b], &like->band[b]);
  }
  return ok;
}

static bool copy_conditions(plb_reference *r, const plb_reference *like) {
  if (r->conditions > 0) {
    return true; /* stated anew */
  }
  free(r->condition);
  r->condition = plb_calloc(like->conditions, sizeof *r->condition);
  if (r->condition == NULL) {
    return false;
  }
  r->conditions = like->conditions;
  for (size_t c = 0; c < like->conditions; c++) {
    r->condition[c] = like->condition[c];
  }
  return true;
}

static bool copy_connection(plb_reference *r, const plb_reference *like) {
  bool ok = copy_text(&r->connection.test_point, like->connection.test_point) && copy_text(&r->connection.place, like->connection.place) &&
            copy_text(&r->connection.ground, like->connection.ground) && copy_text(&r->connection.never, like->connection.never) &&
            copy_text(&r->connection.probe, like->connection.probe) && copy_text(&r->connection.range, like->connection.range) &&
            copy_text(&r->connection.coupling, like->connection.coupling) && copy_text(&r->connection.trigger, like->connection.trigger);
  r->connection.rate_needed_hz = like->connection.rate_needed_hz;
  r->connection.connected = like->connection.connected;
  r->connection.caution = plb_calloc(like->connection.cautions, sizeof *r->connection.caution);
  if (r->connection.caution == NULL) {
    return false;
  }
  r->connection.cautions = like->connection.cautions;
  for (size_t c = 0; c < like->connection.cautions; c++) {
    ok = ok && copy_text(&r->connection.caution[c], like->connection.caution[c]);
  }
  return ok;
}

plb_status plb_annotate_like(plb_reference *reference, const plb_reference *like, plb_error *err) {
  const bool ok = copy_text(&reference->title, like->title) && copy_text(&reference->why, like->why) &&
                  copy_text(&reference->system, like->system) && copy_bands(reference, like) && copy_conditions(reference, like) &&
                  copy_connection(reference, like);
  reference->cylinders = like->cylinders;
  reference->supply_nominal_v = like->supply_nominal_v;
  return ok ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
}
