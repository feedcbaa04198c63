#include "capture/capture.h"
#include <math.h>
#include <stdio.h>

/*
 * Delimited text that the reader of this library reads back bit for bit: the sample rate in a comment, a header, the
 * time, the channels. The time column serves other programs; its digits are those that tell the samples apart, with
 * four to spare.
 */

enum { SPARE_DIGITS = 4, MOST_DECIMALS = 15 };
static const size_t most_bytes = (size_t)16 << 30;

/* RFC 4180, rules 6 and 7. */
static void write_quoted(plb_buffer *b, const char *text) {
  plb_buffer_append(b, "\"", 1);
  for (; *text; text++)
    plb_buffer_append(b, *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
}

static void write_head(const plb_capture *capture, plb_buffer *b) {
  char rate[PLB_NUMBER_SIZE];
  plb_text_from_number(capture->rate_hz, rate);
  plb_buffer_printf(b, "# sample rate: %s Hz\ntime (s)", rate);
  for (size_t i = 0; i < capture->channels; i++) {
    plb_buffer_puts(b, ",");
    write_quoted(b, capture->channel[i].role);
    plb_buffer_printf(b, " (%s)\"", capture->channel[i].unit);
  }
  plb_buffer_puts(b, "\n");
}

/* code / 10^decimals as it stood in the text. */
static int print_code(char out[PLB_NUMBER_SIZE], int32_t code, int decimals) {
  const int64_t size = code < 0 ? -(int64_t)code : code;
  int64_t unit = 1;
  for (int i = 0; i < decimals; i++)
    unit *= 10;
  if (decimals == 0)
    return snprintf(out, PLB_NUMBER_SIZE, "%d", (int)code);
  return snprintf(out, PLB_NUMBER_SIZE, "%s%lld.%0*lld", code < 0 ? "-" : "", (long long)(size / unit), decimals,
                  (long long)(size % unit));
}

static void write_value(const plb_capture *capture, size_t channel, size_t at, plb_buffer *b) {
  const plb_channel *c = &capture->channel[channel];
  char text[PLB_NUMBER_SIZE] = "";
  if (c->samples.code && c->samples.decimals >= 0 && c->samples.decimals <= MOST_DECIMALS && c->factor == 1.0) {
    (void)print_code(text, c->samples.code[at], c->samples.decimals);
  } else {
    double value;
    plb_capture_values(capture, channel, at, 1, &value);
    if (isfinite(value))
      plb_text_from_number(value, text);
  }
  plb_buffer_puts(b, ",");
  plb_buffer_puts(b, text);
}

static int count_decimals(const plb_capture *capture) {
  const int decimals = (int)ceil(log10(capture->rate_hz)) + SPARE_DIGITS;
  return decimals < 0 ? 0 : decimals > MOST_DECIMALS ? MOST_DECIMALS : decimals;
}

plb_status plb_capture_write_text(const plb_capture *capture, const char *path, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, most_bytes);
  write_head(capture, &b);
  const int decimals = count_decimals(capture);
  for (size_t i = 0; i < capture->samples && b.status == PLB_OK; i++) {
    char stamp[PLB_NUMBER_SIZE];
    if (i == 0)
      plb_text_from_number(capture->start_s, stamp);
    else
      plb_text_print(stamp, sizeof stamp, "%.*f", decimals, capture->start_s + (double)i / capture->rate_hz);
    plb_buffer_puts(&b, stamp);
    for (size_t k = 0; k < capture->channels; k++)
      write_value(capture, k, i, &b);
    plb_buffer_append(&b, "\n", 1);
  }
  plb_status status =
      b.status == PLB_OK
          ? plb_file_write(path, b.data, b.size, err)
          : plb_fail(err, b.status, "not enough memory to write this recording; write a shorter part of it");
  plb_buffer_dispose(&b);
  return status == PLB_OK ? PLB_OK : plb_fail_path(err, status, path);
}
