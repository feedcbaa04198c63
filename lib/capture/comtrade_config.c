#include "capture/comtrade.h"
#include <math.h>
#include <string.h>

/* The configuration of a COMTRADE recording, line by line. */

const char *const plb_comtrade_kind_name[4] = {"ASCII", "BINARY", "BINARY32", "FLOAT32"};

enum { MOST_FIELDS = 16, FEWEST_ANALOG = 10, FEWEST_STATE = 3 };

typedef struct field {
  const char *text;
  size_t size;
  int64_t column;
} field;

/* The line being read. */
typedef struct line {
  const char *p, *end; /* what is left of the text */
  int64_t number;
  field f[MOST_FIELDS];
  size_t fields;
} line;

static bool is_space(char c) { return c == ' ' || c == '\t'; }

static void cut_fields(line *l, const char *start, const char *stop) {
  l->fields = 0;
  for (const char *p = start; l->fields < MOST_FIELDS; p++) {
    const char *first = p;
    while (p < stop && *p != ',')
      p++;
    const char *last = p;
    while (first < last && is_space(*first))
      first++;
    while (last > first && is_space(last[-1]))
      last--;
    l->f[l->fields++] = (field){first, (size_t)(last - first), first - start + 1};
    if (p >= stop)
      break;
  }
}

/* The next line; false at the end. */
static bool next_line(line *l) {
  if (l->p >= l->end)
    return false;
  const char *start = l->p;
  while (l->p < l->end && *l->p != '\n' && *l->p != '\r')
    l->p++;
  cut_fields(l, start, l->p);
  if (l->p < l->end && *l->p == '\r')
    l->p++;
  if (l->p < l->end && *l->p == '\n')
    l->p++;
  l->number++;
  return true;
}

static plb_status need_line(line *l, const char *what, plb_error *err) {
  if (next_line(l))
    return PLB_OK;
  return plb_fail_line(err, PLB_EDATA, l->number, 0, "the configuration ends before %s; copy or export it again", what);
}

static plb_status fail_field(const line *l, size_t i, const char *what, plb_error *err) {
  char shown[28];
  const field *f = &l->f[i];
  const bool whole = f->size < sizeof shown - 4;
  size_t n = whole ? f->size : sizeof shown - 4;
  for (size_t k = 0; k < n; k++)
    shown[k] = (unsigned char)f->text[k] < ' ' || (unsigned char)f->text[k] >= 0x7F ? '?' : f->text[k];
  memcpy(shown + n, whole ? "" : "...", whole ? 1 : 4);
  return plb_fail_line(err, PLB_EDATA, l->number, f->column, "'%s' is not %s; correct it or export the file again", shown, what);
}

static plb_status take_number(const line *l, size_t i, const char *what, double *out, plb_error *err) {
  if (i < l->fields && plb_text_number(l->f[i].text, l->f[i].size, out) && isfinite(*out))
    return PLB_OK;
  if (i >= l->fields)
    return plb_fail_line(err, PLB_EDATA, l->number, 0, "%s is missing; export the file again", what);
  return fail_field(l, i, what, err);
}

static plb_status take_count(const line *l, size_t i, char letter, const char *what, size_t *out, plb_error *err) {
  double value;
  if (i >= l->fields)
    return plb_fail_line(err, PLB_EDATA, l->number, 0, "%s is missing; export the file again", what);
  field f = l->f[i];
  const bool lettered = letter == '\0' || (f.size > 0 && (f.text[f.size - 1] | 0x20) == letter);
  f.size -= letter != '\0' && f.size > 0;
  if (!lettered || f.size == 0 || strspn(f.text, "0123456789") < f.size || !plb_text_number(f.text, f.size, &value) || value > 1e15)
    return fail_field(l, i, what, err);
  *out = (size_t)value;
  return PLB_OK;
}

static void copy_field(const line *l, size_t i, char *out, size_t size) {
  out[0] = '\0';
  if (i >= l->fields || l->f[i].size >= size)
    return;
  memcpy(out, l->f[i].text, l->f[i].size);
  out[l->f[i].size] = '\0';
}

static plb_status read_station(plb_comtrade *c, line *l, plb_error *err) {
  plb_status status = need_line(l, "the station", err);
  if (status != PLB_OK)
    return status;
  c->year = 1991;
  if (l->fields < 3 || l->f[2].size == 0)
    return PLB_OK;
  double year;
  status = take_number(l, 2, "a year of the standard: 1991, 1999 or 2013", &year, err);
  if (status == PLB_OK && year != 1991 && year != 1999 && year != 2013)
    status = fail_field(l, 2, "a year of the standard: 1991, 1999 or 2013", err);
  c->year = status == PLB_OK ? (int)year : 0;
  return status;
}

static plb_status read_counts(plb_comtrade *c, line *l, plb_error *err) {
  size_t all = 0;
  plb_status status = need_line(l, "the number of channels", err);
  if (status == PLB_OK)
    status = take_count(l, 0, '\0', "a number of channels", &all, err);
  if (status == PLB_OK)
    status = take_count(l, 1, 'a', "a number of analog channels such as 4A", &c->analogs, err);
  if (status == PLB_OK)
    status = take_count(l, 2, 'd', "a number of status channels such as 8D", &c->states, err);
  if (status != PLB_OK)
    return status;
  if (all != c->analogs + c->states)
    return plb_fail_line(err, PLB_EDATA, l->number, 1,
                         "%zu channels, but %zu analog and %zu status ones; correct the line or export the file again", all,
                         c->analogs, c->states);
  if (all == 0 || all > PLB_COMTRADE_MOST_CHANNELS)
    return plb_fail_line(err, PLB_EDATA, l->number, 1, "%zu channels; 1 to %d are read, export a part of them", all,
                         PLB_COMTRADE_MOST_CHANNELS);
  c->channel = plb_calloc(all, sizeof *c->channel);
  return c->channel ? PLB_OK : plb_fail(err, PLB_ENOMEM, "not enough memory for this recording; close other programs");
}

/* A multiplier printed as 0.001 means thousandths, exactly: the value is then rounded once. */
static int decimals_of(double a, double b) {
  double power = 1.0;
  for (int k = 0; k <= 22 && b == 0.0; k++, power *= 10.0)
    if (a == 1.0 / power)
      return k;
  return -1;
}

static plb_status read_analog(plb_comtrade_channel *ch, line *l, plb_error *err) {
  plb_status status = need_line(l, "the analog channels are all there", err);
  if (status == PLB_OK && l->fields < FEWEST_ANALOG)
    status = plb_fail_line(err, PLB_EDATA, l->number, 0, "an analog channel has at least %d fields, this line has %zu; export the file again",
                           FEWEST_ANALOG, l->fields);
  if (status == PLB_OK)
    status = take_number(l, 5, "a multiplier", &ch->a, err);
  if (status == PLB_OK && ch->a == 0.0)
    status = fail_field(l, 5, "a multiplier other than nought", err);
  if (status == PLB_OK && l->f[6].size > 0)
    status = take_number(l, 6, "an offset", &ch->b, err);
  if (status != PLB_OK)
    return status;
  copy_field(l, 1, ch->name, sizeof ch->name);
  copy_field(l, 4, ch->unit, sizeof ch->unit);
  ch->decimals = decimals_of(ch->a, ch->b);
  if (!plb_text_number(l->f[8].text, l->f[8].size, &ch->least) || !plb_text_number(l->f[9].text, l->f[9].size, &ch->most))
    ch->least = ch->most = 0.0;
  return PLB_OK;
}

static plb_status read_state(plb_comtrade_channel *ch, line *l, plb_error *err) {
  plb_status status = need_line(l, "the status channels are all there", err);
  size_t number;
  if (status == PLB_OK && l->fields < FEWEST_STATE)
    status = plb_fail_line(err, PLB_EDATA, l->number, 0, "a status channel has at least %d fields, this line has %zu; export the file again",
                           FEWEST_STATE, l->fields);
  if (status == PLB_OK)
    status = take_count(l, 0, '\0', "the number of a status channel", &number, err);
  if (status != PLB_OK)
    return status;
  copy_field(l, 1, ch->name, sizeof ch->name);
  ch->a = 1.0;
  return PLB_OK;
}

static plb_status read_rates(plb_comtrade *c, line *l, plb_error *err) {
  plb_status status = need_line(l, "the line frequency", err);
  if (status == PLB_OK)
    status = need_line(l, "the number of sample rates", err);
  if (status == PLB_OK)
    status = take_count(l, 0, '\0', "a number of sample rates", &c->rates, err);
  if (status == PLB_OK && c->rates > PLB_COMTRADE_MOST_RATES)
    status = fail_field(l, 0, "a sensible number of sample rates", err);
  const size_t lines = c->rates > 0 ? c->rates : 1;
  for (size_t i = 0; i < lines && status == PLB_OK; i++) {
    size_t last = 0;
    status = need_line(l, "the sample rates are all there", err);
    if (status == PLB_OK)
      status = take_number(l, 0, "a sample rate", &c->rate_hz[i], err);
    if (status == PLB_OK && (c->rate_hz[i] < 0.0 || (c->rates > 0 && c->rate_hz[i] == 0.0)))
      status = fail_field(l, 0, "a sample rate above nought", err);
    if (status == PLB_OK)
      status = take_count(l, 1, '\0', "the number of the last row", &last, err);
    if (status == PLB_OK && (last <= c->rows || last > (size_t)1 << 40))
      status = fail_field(l, 1, "a last row behind the rows before", err);
    c->rows = last;
    c->rows_line = l->number;
  }
  for (size_t i = 1; i < lines && status == PLB_OK; i++)
    if (c->rate_hz[i] != c->rate_hz[0])
      status = plb_fail_line(err, PLB_EDATA, l->number, 1,
                             "the sample rate changes from %.10g to %.10g Hz within the recording; export the parts one by one",
                             c->rate_hz[0], c->rate_hz[i]);
  return status;
}

int64_t plb_comtrade_day(int year, int month, int day) {
  /* counted in years that begin in March, so that the leap day is the last */
  const int64_t y = month > 2 ? year : year - 1, m = month > 2 ? month - 3 : month + 9;
  return 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 719469;
}

/* Up to three whole numbers with one mark between them; the last may have a fraction in `ns_out`. */
static bool take_parts(const field *f, char mark, int out[3], int64_t *ns_out, int *digits_out) {
  size_t at = 0;
  *ns_out = 0;
  *digits_out = 0;
  for (int i = 0; i < 3; i++) {
    const size_t first = at;
    out[i] = 0;
    while (at < f->size && (unsigned char)(f->text[at] - '0') < 10 && at - first < 5)
      out[i] = out[i] * 10 + (f->text[at++] - '0');
    if (at == first || (i < 2 && (at >= f->size || f->text[at++] != mark)))
      return false;
  }
  if (at < f->size && f->text[at] == '.') {
    int64_t unit = 100000000;
    for (at++; at < f->size && (unsigned char)(f->text[at] - '0') < 10; at++, unit /= 10) {
      *ns_out += unit * (f->text[at] - '0');
      ++*digits_out;
    }
  }
  return at == f->size;
}

/* A clock that was never set leaves the line empty; that harms nothing. */
static plb_status read_time(const plb_comtrade *c, plb_comtrade_time *out, const char *what, line *l, plb_error *err) {
  int date[3], clock[3], digits, none;
  int64_t ns, nothing;
  const plb_status status = need_line(l, what, err);
  if (status != PLB_OK || l->fields < 2 || (l->f[0].size == 0 && l->f[1].size == 0))
    return status;
  if (!take_parts(&l->f[0], '/', date, &nothing, &none))
    return fail_field(l, 0, "a date such as 31/01/2025", err);
  if (!take_parts(&l->f[1], ':', clock, &ns, &digits) || clock[0] > 24 || clock[1] > 59 || clock[2] > 60)
    return fail_field(l, 1, "a time of day such as 08:09:10.123456", err);
  int day = c->year == 1991 ? date[1] : date[0], month = c->year == 1991 ? date[0] : date[1];
  if (month > 12 && day <= 12) { /* some write the month first, some the day, whatever the year */
    const int swap = day;
    day = month;
    month = swap;
  }
  if (month < 1 || month > 12 || day < 1 || day > 31)
    return fail_field(l, 0, "a date such as 31/01/2025", err);
  const int year = date[2] >= 100 ? date[2] : date[2] + (date[2] < 70 ? 2000 : 1900);
  *out = (plb_comtrade_time){true, plb_comtrade_day(year, month, day),
                             ((clock[0] * 60 + clock[1]) * INT64_C(60) + clock[2]) * INT64_C(1000000000) + ns, digits > 6};
  return PLB_OK;
}

static bool same_word(const field *f, const char *word) {
  char text[16];
  if (f->size >= sizeof text)
    return false;
  for (size_t i = 0; i < f->size; i++)
    text[i] = (char)(f->text[i] >= 'a' && f->text[i] <= 'z' ? f->text[i] - 32 : f->text[i]);
  text[f->size] = '\0';
  return strcmp(text, word) == 0;
}

static plb_status read_kind(plb_comtrade *c, line *l, plb_error *err) {
  const plb_status status = need_line(l, "the kind of its data", err);
  if (status != PLB_OK)
    return status;
  for (int k = 0; k < 4; k++)
    if (same_word(&l->f[0], plb_comtrade_kind_name[k])) {
      c->kind = (plb_comtrade_kind)k;
      return PLB_OK;
    }
  return fail_field(l, 0, "a kind of data: ASCII, BINARY, BINARY32 or FLOAT32", err);
}

static plb_status read_multiplier(plb_comtrade *c, line *l, plb_error *err) {
  c->multiplier = 1.0;
  if (c->year == 1991 || !next_line(l) || l->f[0].size == 0)
    return PLB_OK;
  const plb_status status = take_number(l, 0, "a multiplier of times", &c->multiplier, err);
  return status == PLB_OK && c->multiplier <= 0.0 ? fail_field(l, 0, "a multiplier of times above nought", err) : status;
}

plb_status plb_comtrade_parse(plb_comtrade *out, const char *text, size_t size, int64_t first_line, plb_error *err) {
  line l = {.p = text, .end = text + size, .number = first_line - 1};
  *out = (plb_comtrade){.year = 1991};
  plb_status status = read_station(out, &l, err);
  if (status == PLB_OK)
    status = read_counts(out, &l, err);
  for (size_t i = 0; status == PLB_OK && i < out->analogs; i++)
    status = read_analog(&out->channel[i], &l, err);
  for (size_t i = 0; status == PLB_OK && i < out->states; i++)
    status = read_state(&out->channel[out->analogs + i], &l, err);
  if (status == PLB_OK)
    status = read_rates(out, &l, err);
  if (status == PLB_OK)
    status = read_time(out, &out->first, "the time of the first row", &l, err);
  if (status == PLB_OK)
    status = read_time(out, &out->trigger, "the time of the trigger", &l, err);
  if (status == PLB_OK)
    status = read_kind(out, &l, err);
  if (status == PLB_OK)
    status = read_multiplier(out, &l, err);
  if (status != PLB_OK)
    plb_comtrade_dispose(out);
  return status;
}

void plb_comtrade_dispose(plb_comtrade *c) {
  free(c->channel);
  c->channel = NULL;
}
