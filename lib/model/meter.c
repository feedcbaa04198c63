#include "model/meter.h"
#include <math.h>

static const double two_pi = 6.283185307179586;

/* Measuring mistakes, common practice. Those that are made or not made (a lead is inverted or it is not) take
 * any severity above 0 as made. */
static const plb_model_fault mistakes[] = {
    {"lead-inverted", PLB_MISTAKE_INVERTED, PLB_IN_MEASURING, "tip and ground clip swapped"},
    {"attenuator-forgotten", PLB_MISTAKE_FACTOR, PLB_IN_MEASURING,
     "factor of the probe, attenuator or clamp not set: everything at a tenth, noise and steps too"},
    {"clamp-zero", PLB_MISTAKE_ZERO, PLB_IN_MEASURING, "clamp not zeroed"},
    {"clamp-direction", PLB_MISTAKE_DIRECTION, PLB_IN_MEASURING, "clamp the wrong way round"},
    {"ac-coupled", PLB_MISTAKE_AC, PLB_IN_MEASURING, "input AC coupled: levels sag to the mean"},
    {"alias", PLB_MISTAKE_ALIAS, PLB_IN_MEASURING, "sampled too slowly for its detail"},
    {"floating", PLB_MISTAKE_FLOATING, PLB_IN_MEASURING, "tip without good contact: signal by capacitance, with hum"},
    {"hum", PLB_MISTAKE_HUM, PLB_IN_MEASURING, "mains hum by a ground loop"},
    {"pick-up", PLB_MISTAKE_PICK_UP, PLB_IN_MEASURING, "test lead beside an ignition lead"},
    {"far-ground", PLB_MISTAKE_FAR_GROUND, PLB_IN_MEASURING,
     "ground clip far away: drops of other consumers are measured too"},
};

size_t plb_mistake_count(void) { return sizeof mistakes / sizeof mistakes[0]; }
const plb_model_fault *plb_mistake_at(size_t index) { return &mistakes[index]; }

bool plb_mistake_possible(const plb_model_family *family, plb_fault_kind kind) {
  const bool probe = family->channel[0].by == PLB_BY_PROBE;
  const bool clamp = family->channel[0].by == PLB_BY_CLAMP;
  switch (kind) {
  case PLB_MISTAKE_INVERTED:
  case PLB_MISTAKE_FLOATING:
  case PLB_MISTAKE_FAR_GROUND:
  case PLB_MISTAKE_HUM:
    return probe;
  case PLB_MISTAKE_ZERO:
  case PLB_MISTAKE_DIRECTION:
    return clamp;
  case PLB_MISTAKE_FACTOR:
    return probe || clamp;
  case PLB_MISTAKE_AC:
    return probe || clamp;
  case PLB_MISTAKE_ALIAS:
  case PLB_MISTAKE_PICK_UP:
    return true;
  default:
    return false;
  }
}

/* Sum of eight uniform 16-bit numbers (Irwin and Hall): normal for all that matters here up to 4.9 sigma, and quick. */
static double quick_normal(plb_random *r) {
  const uint64_t a = plb_random_next(r), b = plb_random_next(r);
  const uint64_t pairs = (a & 0x0000FFFF0000FFFF) + ((a >> 16) & 0x0000FFFF0000FFFF) + (b & 0x0000FFFF0000FFFF) +
                         ((b >> 16) & 0x0000FFFF0000FFFF);
  const double sum = (double)((pairs & 0xFFFFFFFF) + (pairs >> 32)); /* mean 8 * 32767.5, variance 8 * 65536^2 / 12 */
  return (sum - 262140.0) * (1.0 / 53509.92);
}

/* Forget the mean first: an input that has been AC coupled for a while has settled on it. */
static void couple_ac(double *x, size_t n, double rate_hz, double corner_hz) {
  double mean = 0.0;
  for (size_t i = 0; i < n; i++)
    mean += x[i] / (double)n;
  const double keep = exp(-two_pi * corner_hz / rate_hz);
  double slow = mean;
  for (size_t i = 0; i < n; i++) {
    slow = x[i] + (slow - x[i]) * keep;
    x[i] -= slow;
  }
}

static void add_hum(double *x, size_t n, double rate_hz, double peak, double phase) {
  const double step = two_pi * 50.0 / rate_hz;
  for (size_t i = 0; i < n; i++) {
    const double at = step * (double)i + phase;
    x[i] += peak * (sin(at) + 0.2 * sin(3.0 * at + 0.5));
  }
}

/* Poor contact: what comes through falls, and only quick changes pass the few picofarads at last. */
static void loosen_tip(double *x, size_t n, double rate_hz, double severity) {
  const double keep = exp(-two_pi * 300.0 / rate_hz);
  double slow = n ? x[0] : 0.0;
  for (size_t i = 0; i < n; i++) {
    slow = x[i] + (slow - x[i]) * keep;
    x[i] = (1.0 - severity) * x[i] + 0.15 * severity * (x[i] - slow);
  }
}

/* Fans, pumps and lamps share the way to ground: a steady drop, the ripple of the alternator, steps when
 * something switches. */
static void add_far_ground(plb_draw *draw, double *x, double size) {
  const double ripple_hz = 700.0 + 600.0 * plb_random_uniform(&draw->meter);
  const double load_hz = 6.0 + 10.0 * plb_random_uniform(&draw->meter);
  for (size_t i = 0; i < draw->n; i++) {
    const double t = (double)i / draw->rate_hz;
    const double load = sin(two_pi * load_hz * t) > 0.2 ? 1.0 : 0.55;
    x[i] += size * load * (1.0 + 0.25 * fabs(sin(two_pi * ripple_hz * t)));
  }
}

static void spoil_lead(plb_draw *draw, size_t c) {
  const plb_model_channel *channel = &draw->family->channel[c];
  double *x = draw->x[c];
  const double phase = two_pi * plb_random_uniform(&draw->meter);
  if (plb_fault(draw, "floating") > 0.0 && c == 0)
    loosen_tip(x, draw->n, draw->rate_hz, draw->severity);
  const double hum = fmax(plb_fault(draw, "hum"), c == 0 ? plb_fault(draw, "floating") : 0.0);
  if (hum > 0.0)
    add_hum(x, draw->n, draw->rate_hz, 0.12 * hum * channel->range, phase);
  if (plb_fault(draw, "far-ground") > 0.0)
    add_far_ground(draw, x, draw->severity * fmin(0.8, 0.1 * channel->range));
  plb_add_interference(draw, c, "pick-up", 0.5 * channel->range);
  if (plb_fault(draw, "clamp-zero") > 0.0 && c == 0)
    for (size_t i = 0; i < draw->n; i++)
      x[i] += draw->severity * 0.12 * channel->range;
  if (plb_fault(draw, "ac-coupled") > 0.0 && c == 0)
    couple_ac(x, draw->n, draw->rate_hz, 0.2 + 3.0 * draw->severity);
}

/* Every k-th sample without a filter before it: what lies above half the new rate folds down. */
static void thin(plb_draw *draw) {
  const size_t k = (size_t)(1.0 + 24.0 * plb_fault(draw, "alias"));
  if (k < 2)
    return;
  const size_t n = draw->n / k;
  for (size_t c = 0; c < draw->family->channels; c++)
    for (size_t i = 0; i < n; i++)
      draw->x[c][i] = draw->x[c][i * k];
  draw->n = n;
  draw->rate_hz /= (double)k;
}

typedef struct instrument {
  int bits;
  double range, middle, gain, zero, noise;
} instrument;

/* Does the trace fit the screen when its level is set off? What leaves it is recorded again on the wide range. */
static bool stays_about(const plb_model_channel *channel, const double *x, size_t n) {
  bool fits = channel->about > 0.0;
  for (size_t i = 0; i < n && fits; i++)
    fits = fabs(x[i] - channel->middle) < 0.95 * channel->about;
  return fits;
}

/* One instrument a shop: resolution and accuracy go together, common practice. The range is the next that holds
 * the signal, or one more. */
static instrument draw_instrument(plb_draw *draw, const plb_model_channel *channel, bool set_off, int bits) {
  static const double wider[] = {1.0, 1.0, 1.25, 2.0};
  const double accuracy = bits <= 8 ? 0.01 : 0.005;
  const double more = wider[plb_random_below(&draw->meter, 4)];
  const double range =
      channel->range * (bits <= 8 ? 1.0 : more); /* with few steps one takes the smallest range that holds it */
  const double gain = 1.0 + accuracy * (2.0 * plb_random_uniform(&draw->meter) - 1.0);
  const double zero = 0.3 * accuracy * range * (2.0 * plb_random_uniform(&draw->meter) - 1.0);
  const double noise = channel->noise * (0.7 + 0.8 * plb_random_uniform(&draw->meter));
  if (bits <= 8 && set_off)
    return (instrument){bits, channel->about, channel->middle, gain, zero, noise};
  return (instrument){bits, range, 0.0, gain, zero, noise};
}

static void limit_band(double *x, size_t n, double rate_hz, double corner_hz) {
  if (corner_hz <= 0.0 || corner_hz > 0.5 * rate_hz)
    return;
  const double keep = exp(-two_pi * corner_hz / rate_hz);
  double y = n ? x[0] : 0.0;
  for (size_t i = 0; i < n; i++) {
    y = x[i] + (y - x[i]) * keep;
    x[i] = y;
  }
}

static plb_status record_channel(plb_draw *draw, size_t c, int bits, plb_capture *capture, plb_error *err) {
  const plb_model_channel *from = &draw->family->channel[c];
  limit_band(draw->x[c], draw->n, draw->rate_hz, from->band_hz);
  const bool turned = c == 0 && (plb_fault(draw, "lead-inverted") > 0.0 || plb_fault(draw, "clamp-direction") > 0.0);
  const instrument set = draw_instrument(draw, from, !turned && stays_about(from, draw->x[c], draw->n), bits);
  const double factor = c == 0 && plb_fault(draw, "attenuator-forgotten") > 0.0 ? 0.1 : 1.0;
  const double top = (double)(1 << (bits - 1));
  const double step = set.range / top;
  const double gain = (turned ? -set.gain : set.gain) / step, zero = (set.zero - set.middle) / step,
               noise = fmax(set.noise / step, 0.35); /* no converter stands still */
  int32_t *code = plb_calloc(draw->n, sizeof *code);
  plb_channel *to = code ? plb_capture_add_channel(capture) : NULL;
  if (!to) {
    free(code);
    return plb_fail(err, PLB_ENOMEM, "not enough memory to draw a recording; close other programs");
  }
  for (size_t i = 0; i < draw->n; i++) {
    const double v = gain * draw->x[c][i] + zero + noise * quick_normal(&draw->meter);
    code[i] = (int32_t)floor(fmax(-top, fmin(top - 1.0, v)) + 0.5);
  }
  plb_text_copy(to->role, sizeof to->role, from->role);
  plb_text_copy(to->unit, sizeof to->unit, from->unit);
  to->samples = (plb_samples){.code = code,
                              .decimals = -1,
                              .scale = step * factor,
                              .offset = set.middle * factor,
                              .code_low = (int32_t)-top,
                              .code_high = (int32_t)(top - 1.0)};
  return PLB_OK;
}

plb_status plb_meter_record(plb_draw *draw, plb_capture *capture, plb_error *err) {
  static const int resolutions[] = {8, 12, 12, 12, 14, 16};
  const int bits = resolutions[plb_random_below(&draw->meter, 6)];
  for (size_t c = 0; c < draw->family->channels; c++)
    spoil_lead(draw, c);
  thin(draw);
  capture->samples = draw->n;
  capture->rate_hz = draw->rate_hz;
  plb_status status = PLB_OK;
  for (size_t c = 0; c < draw->family->channels && !status; c++)
    status = record_channel(draw, c, bits, capture, err);
  return status;
}
