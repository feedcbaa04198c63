/* From the connection part of a reference to the lines of a card, and from a capture to what does not fit it. */
#include "report/connect_card.h"
#include "report/facts.h"
#include "report/say.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char plb_card_permission[] = "This card gives information, not permission to work. The vehicle maker's instructions, local codes and "
                                   "licensed practice come first.";

/* An AC-coupled trace has lost its mean: it lies about zero where the good captures do not. */
static const double mean_far = 0.25;  /* of the swing: a mean that coupling would take away */
static const double mean_gone = 0.05; /* of the swing */
/* A step of more than a fiftieth of the good captures' swing hides what they show. */
static const double coarse_step = 0.02;
static const double rate_enough = 0.99;

static void add_line(plb_card *c, const char *key, const char *label, const char *text) {
  if (text != NULL && text[0] != '\0')
    c->line[c->lines++] = (plb_card_line){key, label, text};
}

/* The mean of the good range's middle; NaN where the reference keeps none. */
static double good_mean(const plb_reference *r, size_t channel) {
  if (r->corridor.centre == NULL)
    return NAN;
  double sum = 0;
  for (size_t g = 0; g < r->choice.grid; g++)
    sum += (double)r->corridor.centre[channel * r->choice.grid + g];
  return sum / (double)r->choice.grid;
}

static bool only_current(const plb_reference *r) {
  for (size_t i = 0; i < r->channels; i++)
    if (strcmp(r->channel[i].unit, "A") != 0)
      return false;
  return true;
}

static bool says(const char *text, const char *word) { return text != NULL && strstr(text, word) != NULL; }

/* A post or a terminal is open to the tip; nothing stands in a connector there. */
static bool at_a_terminal(const char *test_point) {
  return (says(test_point, "post") || says(test_point, "terminal")) && !says(test_point, "connector") && !says(test_point, "plug") &&
         !says(test_point, "breakout");
}

/* Together or apart, and how one gets at the wire: round it, at the posts, or through the connector. */
static void say_plugged(plb_card *c, const plb_reference *r) {
  const char *text = "Connector together, measured by back-probing or with a breakout lead";
  if (!r->connection.connected)
    text = "Unplugged, so that only the part itself is seen";
  else if (only_current(r))
    text = "Everything together as in use: the clamp goes round the wire and opens nothing";
  else if (says(r->connection.probe, "pick-up"))
    text = "Everything together as in use: the pick-up goes round the lead and opens nothing";
  else if (at_a_terminal(r->connection.test_point))
    text = "Everything together as in use, nothing unplugged";
  else if (says(r->system, "open-collector"))
    text = "Connector together, measured by back-probing or with a breakout lead: the open-collector output gets its pull-up from the "
           "control unit and shows nothing unplugged";
  plb_text_print(c->plugged, sizeof c->plugged, "%s", text);
}

static void say_rate(plb_card *c, const plb_reference *r) {
  char rate[PLB_SAY_SIZE];
  if (!(r->connection.rate_needed_hz > 0))
    return;
  plb_say_quantity(r->connection.rate_needed_hz, "Hz", 3, rate);
  plb_text_print(c->rate, sizeof c->rate, "at least %.60s", rate);
}

static void make_lines(plb_card *c, const plb_reference *r) {
  say_plugged(c, r);
  say_rate(c, r);
  add_line(c, "plug", "Plug", c->plugged);
  add_line(c, "test_point", "Test point", r->connection.test_point);
  add_line(c, "place", "Where", r->connection.place);
  add_line(c, "ground", "Ground clip", r->connection.ground);
  add_line(c, "never", "Never", r->connection.never);
  add_line(c, "probe", "Probe", r->connection.probe);
  add_line(c, "range", "Range", r->connection.range);
  add_line(c, "coupling", "Coupling", r->connection.coupling);
  add_line(c, "rate", "Sample rate", c->rate);
  add_line(c, "trigger", "Trigger", r->connection.trigger);
  add_line(c, "leads", "Leads",
           "By the shortest way, away from ignition, injectors, starter cable and motors; nothing pierced, no seal pushed aside");
}

/* ---- the capture against the card ---- */

static plb_card_check *add_check(plb_card *c, const char *what, const char *channel, bool fits) {
  if (c->checks == PLB_CARD_CHECKS)
    return NULL;
  plb_card_check *k = &c->check[c->checks++];
  plb_text_copy(k->what, sizeof k->what, what);
  plb_text_copy(k->channel, sizeof k->channel, channel);
  k->fits = fits;
  c->wrong += !fits;
  return k;
}

static void check_rate(plb_card *c, const plb_reference *r, const plb_capture *capture) {
  const double needed = r->connection.rate_needed_hz, rate = plb_capture_rate_hz(capture);
  char has[PLB_SAY_SIZE], needs[PLB_SAY_SIZE];
  if (!(needed > 0))
    return;
  plb_card_check *k = add_check(c, "rate", "", rate >= rate_enough * needed);
  plb_say_quantity(rate, "Hz", 3, has);
  plb_say_quantity(needed, "Hz", 3, needs);
  if (k != NULL && k->fits)
    plb_text_print(k->text, sizeof k->text, "%.60s, enough", has);
  else if (k != NULL)
    plb_text_print(k->text, sizeof k->text, "%.60s is too slow; record with at least %.60s", has, needs);
}

static const plb_reason *clipping(const plb_insight *in, const char *role) {
  for (size_t i = 0; i < in->fitnesses; i++)
    if (strcmp(in->fitness[i].code, "clipped") == 0 && strcmp(in->fitness[i].channel, role) == 0)
      return &in->fitness[i];
  return NULL;
}

static void check_range(plb_card *c, const plb_reference_channel *good, const plb_insight *in, size_t at) {
  const char *role = plb_capture_role(in->capture, at);
  const plb_facts *f = &in->facts[at];
  const bool cut = clipping(in, role) != NULL;
  const bool coarse = good->peak_to_peak > 0 && f->step > coarse_step * good->peak_to_peak;
  char step[PLB_SAY_SIZE];
  plb_card_check *k = add_check(c, "range", good->role, !cut && !coarse);
  if (k == NULL)
    return;
  plb_say_quantity(f->step, good->unit, 3, step);
  if (cut)
    plb_text_print(k->text, sizeof k->text, "the trace is cut off by the recorder; choose a larger range");
  else if (coarse)
    plb_text_print(k->text, sizeof k->text, "steps of %.60s are coarse for this signal; choose the smallest range that holds it", step);
  else
    plb_text_print(k->text, sizeof k->text, "nothing is cut, and the steps are fine enough");
}

static bool wants_ac(const plb_reference *r) { return r->connection.coupling != NULL && strncmp(r->connection.coupling, "AC", 2) == 0; }

static void check_coupling(plb_card *c, const plb_reference *r, size_t channel, const plb_facts *f) {
  const plb_reference_channel *good = &r->channel[channel];
  const double mean = good_mean(r, channel), swing = f->highest - f->lowest;
  const bool ac = wants_ac(r);
  if (!(swing > 0) || (!ac && !(fabs(mean) > mean_far * good->peak_to_peak)))
    return; /* its mean cannot tell */
  const bool gone = fabs(f->mean) < mean_gone * swing;
  plb_card_check *k = add_check(c, "coupling", good->role, ac ? gone || fabs(f->mean) < swing : !gone);
  char has[PLB_SAY_SIZE], usual[PLB_SAY_SIZE];
  if (k == NULL)
    return;
  plb_say_quantity(f->mean, good->unit, 3, has);
  plb_say_quantity(mean, good->unit, 3, usual);
  if (k->fits)
    plb_text_print(k->text, sizeof k->text, "%s, as it must be", ac ? "AC" : "DC");
  else if (ac)
    plb_text_print(k->text, sizeof k->text, "the mean is %.60s: couple AC, or the ripple is lost in the range", has);
  else
    plb_text_print(k->text, sizeof k->text, "the mean is %.60s where good captures have %.60s: set the channel to DC", has, usual);
}

/* By its role; a recording of one channel needs none. */
static int find_channel(const plb_reference *r, size_t channel, const plb_capture *capture) {
  const int at = plb_capture_find(capture, r->channel[channel].role);
  return at < 0 && r->channels == 1 && plb_capture_channels(capture) == 1 ? 0 : at;
}

static void check_channel(plb_card *c, const plb_reference *r, size_t channel, const plb_insight *in) {
  const plb_reference_channel *good = &r->channel[channel];
  const int at = find_channel(r, channel, in->capture);
  if (at < 0) {
    plb_card_check *k = add_check(c, "channels", good->role, false);
    if (k != NULL)
      plb_text_print(k->text, sizeof k->text, "not in this capture; record it, or name its column with --channel %.60s=COLUMN", good->role);
    return;
  }
  const char *unit = plb_capture_unit(in->capture, (size_t)at);
  if (strcmp(unit, good->unit) != 0) {
    const bool none = strcmp(unit, "1") == 0;
    plb_card_check *k = add_check(c, "unit", good->role, false);
    if (k != NULL)
      plb_text_print(k->text, sizeof k->text, "%s; the card means %.30s, name it with --channel %.60s=%d:%.30s",
                     none ? "the file states no unit" : "another unit", good->unit, good->role, plb_capture_column(in->capture, (size_t)at),
                     good->unit);
    if (!none)
      return;
  }
  check_range(c, good, in, (size_t)at);
  check_coupling(c, r, channel, &in->facts[at]);
}

plb_status plb_card_gather(plb_card *out, const plb_connect *asked, plb_error *err) {
  *out = (plb_card){.asked = asked};
  const plb_reference *r = asked->reference;
  out->permission = plb_card_permission;
  for (size_t i = 0; i < r->connection.cautions; i++)
    if (strstr(r->connection.caution[i], "local codes") != NULL)
      out->permission = NULL; /* said by the card itself */
  make_lines(out, r);
  if (asked->capture == NULL)
    return PLB_OK;
  plb_insight in = {.capture = NULL};
  const plb_status status = plb_insight_gather(&in, asked->capture, err);
  if (status == PLB_OK)
    check_rate(out, r, asked->capture);
  for (size_t c = 0; status == PLB_OK && c < r->channels; c++)
    check_channel(out, r, c, &in);
  plb_insight_dispose(&in);
  return status;
}

plb_status plb_connect_wrong(size_t *out, const plb_connect *asked, plb_error *err) {
  plb_card *card = plb_calloc(1, sizeof *card);
  if (card == NULL)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  const plb_status status = plb_card_gather(card, asked, err);
  *out = card->wrong;
  free(card);
  return status;
}
