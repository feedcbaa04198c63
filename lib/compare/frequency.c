#include "compare/frequency.h"
#include "compare/judge.h"
#include <math.h>
#include <string.h>

/*
 * One Welch spectrum (Hann, half overlap) serves all bands of a channel. Its resolution is set by the segment; a band counts when it is at least
 * four bins wide and eight periods of its lower edge, and a time-bandwidth product of eight, lie in the capture. The level is 10 lg of the power
 * in the band; the power that the instrument's codes make there, or 0.05 % of the swing, is added, so that nothing below it can stand out.
 * Estimated from B T independent values a level in dB scatters by (10 / ln 10) / sqrt(B T) = 4.34 / sqrt(B T) (Bendat and Piersol, Random Data,
 * normalised random error of a spectral estimate; FROM MEMORY).
 */
enum { SEGMENT_LEAST = 128, BINS_LEAST = 4, PERIODS_LEAST = 8, ORDERS = 12 };
static const double rate_share = 0.4, order_share = 0.2, product_least = 8.0, unseen_share = 0.0005;
static const double steep_share = 0.1; /* of the swing, from one sample to the next: an edge */
static const double db_per_neper = 4.342944819032518;

plb_status plb_level_set_init(plb_level_set *out, const plb_reference *reference, plb_error *err) {
  const size_t count = plb_reference_levels(reference);
  *out = (plb_level_set){0, plb_calloc(count, sizeof *out->place), reference->band};
  if (out->place == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu frequency bands", count);
  }
  for (size_t b = 0; b < reference->bands; b++) {
    const plb_band *band = &reference->band[b];
    for (size_t c = 0; band->domain != PLB_BAND_CYCLE && c < reference->channels; c++) {
      if (band->channel[0] == '\0' || strcmp(band->channel, reference->channel[c].role) == 0) {
        out->place[out->count++] = (plb_level_place){b, c};
      }
    }
  }
  return PLB_OK;
}

void plb_level_set_dispose(plb_level_set *set) {
  free(set->place);
  *set = (plb_level_set){0};
}

/* What one spectrum can show. */
typedef struct scale {
  size_t segment;   /* samples; 0: nothing */
  double bin;       /* width of a bin [Hz or orders] */
  double most;      /* up to here */
  double length;    /* of the record, in periods of 1 Hz or of order 1 */
} scale;

static size_t power_of_two_up_to(size_t most) {
  size_t p = 1;
  while (2 * p <= most) {
    p *= 2;
  }
  return p;
}

static scale scale_of_time(size_t samples, double rate_hz, double covered) {
  scale s = {power_of_two_up_to(samples / 2 < PLB_FFT_BLOCK ? samples / 2 : PLB_FFT_BLOCK), 0, rate_share * rate_hz,
             (double)samples * covered / rate_hz};
  s.segment = s.segment >= SEGMENT_LEAST ? s.segment : 0;
  s.bin = s.segment > 0 ? rate_hz / (double)s.segment : INFINITY;
  return s;
}

/* Points of a cycle in the record over the angle, and how many cycles make a segment. */
static scale scale_of_angle(const plb_frame *f, double rate_hz, size_t *points_out) {
  scale s = {0, INFINITY, 0, (double)f->mapped};
  const double per_cycle = f->rate_hz > 0.0 ? rate_hz / f->rate_hz : 0.0;
  size_t cycles = power_of_two_up_to(f->mapped < 32 ? f->mapped / 2 : 16);
  *points_out = power_of_two_up_to(per_cycle > 1024.0 ? 1024 : (size_t)per_cycle);
  if (f->unordered || f->mapped < 2 * BINS_LEAST || *points_out < 16) {
    return s;
  }
  s.segment = cycles * *points_out;
  s.bin = 1.0 / (double)cycles;
  s.most = order_share * per_cycle;
  return s;
}

static bool can_show(const scale *s, double from, double to) {
  return s->segment > 0 && to <= s->most && to - from >= BINS_LEAST * s->bin && from * s->length >= PERIODS_LEAST &&
         (to - from) * s->length >= product_least;
}

/* The capture's own median cycle laid back in time and taken away; 0 outside the cycles. @return share of the samples inside */
static double take_residual(const plb_profile *p, const double *x, size_t samples, size_t channel, double *out) {
  const plb_frame *f = p->frame;
  const float *median = plb_profile_curve(p, channel);
  size_t covered = 0;
  memset(out, 0, samples * sizeof *out);
  for (size_t r = 0; r < f->mapped; r++) {
    const double *edge = f->edge_at + r * (f->grid + 1);
    size_t cell = 0;
    for (size_t i = (size_t)fmax(ceil(edge[0]), 0.0); i < samples && (double)i < edge[f->grid]; i++) {
      while (cell + 1 < f->grid && (double)i >= edge[cell + 1]) {
        cell++;
      }
      /* straight line between the middles of cells */
      const double in_cell = ((double)i - edge[cell]) / (edge[cell + 1] - edge[cell]) - 0.5;
      const size_t other = in_cell < 0.0 ? (cell > 0 ? cell - 1 : cell) : (cell + 1 < f->grid ? cell + 1 : cell);
      const double d = x[i] - ((1.0 - fabs(in_cell)) * (double)median[cell] + fabs(in_cell) * (double)median[other]);
      out[i] = isfinite(d) ? d : 0.0;
      covered += isfinite(d) != 0;
    }
  }
  return (double)covered / (double)samples;
}

/*
 * An edge that lies between two samples is known to a sample and no better, and what jitter within a sample leaves beside it is no hash: the
 * residual is not looked at there. An edge: a tenth of the swing in a sample, told from the median cycle, whose cells blur it where they are wider.
 * @return share of the samples that are left out
 */
static double leave_out_edges(const plb_profile *p, size_t samples, size_t channel, double swing, double *out) {
  enum { BESIDE = 2, BLURRED = 4 };
  const plb_frame *f = p->frame;
  const float *median = plb_profile_curve(p, channel);
  size_t left_out = 0;
  for (size_t r = 0; r < f->mapped; r++) {
    const double *edge = f->edge_at + r * (f->grid + 1);
    for (size_t g = 0; g < f->grid; g++) {
      const double step = fabs((double)median[g + 1 < f->grid ? g + 1 : 0] - (double)median[g]), width = edge[g + 1] - edge[g];
      if (!(step >= steep_share * swing * fmin(fmax(width, 1.0), BLURRED))) {
        continue;
      }
      const double from = edge[g + 1] - 0.5 * width - BESIDE, to = edge[g + 1] + 0.5 * width + BESIDE;
      for (size_t i = (size_t)fmax(ceil(from), 0.0); i < samples && (double)i <= to; i++) {
        left_out += out[i] != 0.0;
        out[i] = 0.0;
      }
    }
  }
  return (double)left_out / (double)samples;
}

/* Missing samples become the mean. @return share of the samples that are there */
static double take_signal(const double *x, size_t samples, double *out) {
  double sum = 0.0;
  size_t known = 0;
  for (size_t i = 0; i < samples; i++) {
    if (isfinite(x[i])) {
      sum += x[i];
      known++;
    }
  }
  for (size_t i = 0; i < samples; i++) {
    out[i] = isfinite(x[i]) ? x[i] : sum / (double)known;
  }
  return (double)known / (double)samples;
}

/* Cycle after cycle at `points` equal steps each: a sine of order k stays one whatever the speed does between cycles. */
static size_t over_angle(const plb_frame *f, const double *x, size_t samples, size_t points, double *out) {
  size_t n = 0;
  for (size_t i = 0; i < f->found; i++) {
    const plb_cycle_found *c = &f->cycle[i];
    for (size_t k = 0; c->state == PLB_MAPPED && k < points; k++) {
      const double at = fmax(c->first + (c->last - c->first) * (double)k / (double)points, 0.0);
      const size_t before = (size_t)at < samples - 1 ? (size_t)at : samples - 2;
      const double share = at - (double)before;
      out[n++] = (1.0 - share) * x[before] + share * x[before + 1];
    }
  }
  return n;
}

/* The four spectra that a channel can have, each made when a band first asks for it. */
typedef struct spectra {
  const plb_profile *p;
  const plb_tracks *tracks;
  size_t channel;
  double *work, *angle;
  double *density[2][2]; /* [over angle][residual] */
  scale of[2][2];
  double lift[2];        /* [residual] power per covered power */
  double swing;          /* of the channel in good captures */
} spectra;

static plb_status make_spectrum(spectra *s, int angle, int residual, plb_error *err) {
  const size_t samples = s->tracks->samples;
  const double *x = s->tracks->x[s->channel], rate_hz = s->tracks->rate_hz;
  const bool none = residual && s->p->frame->unordered;
  double covered = none ? 0.0 : residual ? take_residual(s->p, x, samples, s->channel, s->work) : take_signal(x, samples, s->work);
  covered -= residual && !none ? leave_out_edges(s->p, samples, s->channel, s->swing, s->work) : 0.0;
  size_t points = 0, n = samples;
  scale *of = &s->of[angle][residual];
  *of = angle ? scale_of_angle(s->p->frame, rate_hz, &points) : scale_of_time(samples, rate_hz, covered);
  if (covered < 0.5) {
    of->segment = 0; /* half of it is not there: no level can be told */
  }
  s->density[angle][residual] = plb_calloc(of->segment / 2 + 1, sizeof(double));
  if (s->density[angle][residual] == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for a spectrum");
  }
  if (of->segment == 0) {
    return PLB_OK;
  }
  const double *y = s->work;
  if (angle) {
    free(s->angle);
    s->angle = plb_calloc(s->p->frame->found * points, sizeof *s->angle);
    if (s->angle == NULL) {
      return plb_fail(err, PLB_ENOMEM, "out of memory for a spectrum");
    }
    n = over_angle(s->p->frame, s->work, samples, points, s->angle);
    y = s->angle;
  }
  s->lift[residual] = residual && !angle ? 1.0 / covered : 1.0;
  return plb_welch(y, n, (double)of->segment * of->bin, of->segment, s->density[angle][residual], err);
}

static void spectra_dispose(spectra *s) {
  for (int a = 0; a < 2; a++) {
    free(s->density[a][0]);
    free(s->density[a][1]);
  }
  free(s->work);
  free(s->angle);
}

/* RMS in a band below which nothing is seen: half a thousandth of the swing, or what rounding to codes makes there. */
static double unseen_power(const plb_reference_channel *channel, double share_of_spectrum) {
  const double code = channel->step * channel->step / 12.0 * share_of_spectrum, swing = unseen_share * channel->peak_to_peak;
  return fmax(fmax(code, swing * swing), 1e-24);
}

plb_status plb_levels_measure(plb_profile *p, const plb_plan *plan, const plb_tracks *tracks, plb_error *err) {
  const plb_level_set *set = &plan->levels;
  plb_status status = PLB_OK;
  free(p->level);
  p->levels = set->count;
  p->level = plb_calloc(2 * set->count, sizeof *p->level);
  if (p->level == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for %zu levels", set->count);
  }
  p->level_doubt = p->level + set->count;
  for (size_t c = 0; c < tracks->channels && set->count > 0 && status == PLB_OK; c++) {
    spectra s = {.p = p, .tracks = tracks, .channel = c, .swing = plan->channel[c].peak_to_peak,
                 .work = plb_calloc(tracks->samples, sizeof(double))};
    status = s.work != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory for a spectrum");
    for (size_t k = 0; k < set->count && status == PLB_OK; k++) {
      const plb_band *band = &set->band[set->place[k].band];
      const int angle = band->domain == PLB_BAND_ORDER, residual = band->residual;
      if (set->place[k].channel != c) {
        continue;
      }
      if (s.density[angle][residual] == NULL) {
        status = make_spectrum(&s, angle, residual, err);
      }
      const scale *of = &s.of[angle][residual];
      p->level[k] = p->level_doubt[k] = NAN;
      if (status == PLB_OK && can_show(of, band->from, band->to)) {
        const double power = plb_band_power(s.density[angle][residual], of->segment / 2 + 1, of->bin, band->from, band->to);
        const double half = 0.5 * (double)of->segment * of->bin;
        p->level[k] = 10.0 * log10(power * s.lift[residual] + unseen_power(&plan->channel[c], (band->to - band->from) / half));
        p->level_doubt[k] = db_per_neper / sqrt((band->to - band->from) * of->length);
      }
    }
    spectra_dispose(&s);
  }
  return status;
}

static bool all_can_show(plb_band_choice choice, double from, double to, const plb_profile *const *profile, const plb_tracks *const *tracks,
                         size_t count) {
  for (size_t i = 0; i < count; i++) {
    size_t points;
    const scale s = choice.fraction > 0 ? scale_of_time(tracks[i]->samples, tracks[i]->rate_hz, 0.9)
                                        : scale_of_angle(profile[i]->frame, tracks[i]->rate_hz, &points);
    if (!can_show(&s, from, to)) {
      return false;
    }
  }
  return true;
}

/* The nominal name of a band: the mid-band frequency to the digits that people use, "1.6 kHz". */
static void name_band(plb_band *band, plb_band_choice choice, int index) {
  if (choice.fraction == 0) {
    plb_text_print(band->name, sizeof band->name, "order %d", index);
    return;
  }
  static const double octave[] = {1, 2, 4, 8, 16, 31.5, 63, 125, 250, 500};
  static const double third[] = {1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8};
  double nominal;
  if (choice.fraction == 1) { /* ten octaves of the base-ten ratio are three decades: the names repeat times 1,000 */
    const int place = ((index % 10) + 10) % 10;
    nominal = octave[place] * pow(1000.0, (double)((index - place) / 10) + 1.0);
  } else {
    const int place = ((index % 10) + 10) % 10;
    nominal = third[place] * pow(10.0, (double)((index - place) / 10) + 3.0);
  }
  const char *code = "Hz";
  const double scaled = nominal * plb_unit_scale_for_people(nominal, "Hz", &code);
  plb_text_print(band->name, sizeof band->name, "%s%.4g %s", choice.fraction == 1 ? "octave " : "third ", scaled, code);
}

static plb_status append_band(plb_reference *r, plb_band_choice choice, int index, double from, double to, size_t channel, plb_error *err) {
  plb_band *list = plb_resize(r->band, r->bands + 1, sizeof *list);
  if (list == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory for the frequency bands");
  }
  r->band = list;
  plb_band *band = &list[r->bands++];
  *band = (plb_band){.domain = choice.fraction > 0 ? PLB_BAND_FREQUENCY : PLB_BAND_ORDER, .from = from, .to = to, .tolerance = 1.0,
                     .residual = choice.residual, .level = NAN, .spread = NAN};
  name_band(band, choice, index);
  plb_text_copy(band->channel, sizeof band->channel, r->channel[channel].role);
  return PLB_OK;
}

plb_status plb_bands_add(plb_reference *r, plb_band_choice choice, const plb_profile *const *profile, const plb_tracks *const *tracks,
                         size_t count, plb_error *err) {
  const int first = choice.fraction > 0 ? -10 * choice.fraction : 1, last = choice.fraction > 0 ? 20 * choice.fraction : ORDERS;
  plb_status status = PLB_OK;
  for (size_t c = 0; c < r->channels; c++) {
    for (int index = first; index <= last && status == PLB_OK; index++) {
      double from = (double)index - 0.5, to = (double)index + 0.5;
      if (choice.fraction > 0) {
        plb_band_edges_hz(choice.fraction, index, &from, &to);
      }
      if (all_can_show(choice, from, to, profile, tracks, count)) {
        status = append_band(r, choice, index, from, to, c, err);
      }
    }
  }
  return status;
}
