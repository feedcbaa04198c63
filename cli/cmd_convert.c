/* plumb convert: write a capture in another format, and say whether it comes back the same. */
#include "command.h"
#include "input.h"
#include "message.h"
#include "output.h"

#include <plumbline/reference.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const cli_option opt_output = {"output", 'o', "FILE", false,
                                      "Write here. The ending tells the format: .csv or .txt (delimited text), .wav, .npy, .cfg with .dat beside "
                                      "it or .cff (COMTRADE 2013), .xml (our own capture document)."};
static const cli_option opt_ascii = {"ascii", 0, NULL, false, "COMTRADE with its rows in text instead of binary."};
static const cli_option *const options[] = {&opt_output, &opt_ascii, &cli_opt_channel, &cli_opt_rate, &cli_opt_rated, &cli_opt_zero, &cli_opt_scale, &cli_opt_invert, &cli_opt_ac_couple, &cli_opt_filter, NULL};

typedef enum form { FORM_NONE, FORM_TEXT, FORM_WAVE, FORM_NPY, FORM_COMTRADE, FORM_DOCUMENT } form;

static form form_of(const char *path) {
  static const struct {
    const char *ending;
    form form;
  } known[] = {{".csv", FORM_TEXT},     {".txt", FORM_TEXT},     {".wav", FORM_WAVE},    {".npy", FORM_NPY},
               {".cfg", FORM_COMTRADE}, {".cff", FORM_COMTRADE}, {".xml", FORM_DOCUMENT}};
  const size_t n = strlen(path);
  for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
    size_t same = 0;
    while (n > 4 && same < 4 && (path[n - 4 + same] | 0x20) == (known[i].ending[same] | 0x20))
      same++;
    if (same == 4)
      return known[i].form;
  }
  return FORM_NONE;
}

static plb_status write_as(form f, const plb_capture *capture, const char *path, bool ascii, plb_error *err) {
  switch (f) {
  case FORM_WAVE:
    return plb_capture_write_wave(capture, path, err);
  case FORM_NPY:
    return plb_capture_write_npy(capture, path, err);
  case FORM_COMTRADE:
    return plb_capture_write_comtrade(capture, path, ascii, err);
  case FORM_DOCUMENT:
    return plb_capture_write_document(capture, path, err);
  default:
    return plb_capture_write_text(capture, path, err);
  }
}

/* What a reader of the written file finds otherwise than it was. */
typedef struct change {
  double most;       /* difference of two values */
  const char *where; /* role of its channel */
  size_t values;     /* that are not the same */
  bool names, units, rate, start, shape;
} change;

static bool same_value(double a, double b) { return (isnan(a) && isnan(b)) || a == b; }

static void compare_channel(change *c, const plb_capture *was, const plb_capture *is, size_t channel) {
  for (size_t i = 0; i < plb_capture_samples(was); i++) {
    double a, b;
    plb_capture_values(was, channel, i, 1, &a);
    plb_capture_values(is, channel, i, 1, &b);
    if (same_value(a, b))
      continue;
    c->values++;
    if (!c->where || fabs(a - b) > c->most) {
      c->most = fabs(a - b);
      c->where = plb_capture_role(was, channel);
    }
  }
}

static change find_change(const plb_capture *was, const plb_capture *is) {
  change c = {.shape = plb_capture_channels(was) != plb_capture_channels(is) || plb_capture_samples(was) != plb_capture_samples(is)};
  c.rate = !same_value(plb_capture_rate_hz(was), plb_capture_rate_hz(is));
  c.start = plb_capture_start_s(was) != plb_capture_start_s(is);
  for (size_t i = 0; !c.shape && i < plb_capture_channels(was); i++) {
    c.names = c.names || strcmp(plb_capture_role(was, i), plb_capture_role(is, i)) != 0;
    c.units = c.units || strcmp(plb_capture_unit(was, i), plb_capture_unit(is, i)) != 0;
    compare_channel(&c, was, is, i);
  }
  return c;
}

static void tell(const char *path, const plb_capture *was, const plb_capture *is) {
  const change c = find_change(was, is);
  printf("%s: %s, %zu channel%s, %zu samples\n", path, plb_capture_format(is), plb_capture_channels(was),
         plb_capture_channels(was) == 1 ? "" : "s", plb_capture_samples(was));
  for (size_t i = 0; i < plb_capture_applieds(was); i++)
    printf("  applied: %s\n", plb_capture_applied(was, i));
  if (c.shape)
    printf("  read back it has %zu channels and %zu samples: not the same recording\n", plb_capture_channels(is),
           plb_capture_samples(is));
  else if (c.values == 0)
    printf("  read back, every value is the same, bit for bit\n");
  else
    printf("  read back, %zu values are not quite the same; at most %.3g off, in %s\n", c.values, c.most, c.where);
  if (c.rate)
    printf("  the rate reads back as %.17g Hz, it was %.17g Hz\n", plb_capture_rate_hz(is), plb_capture_rate_hz(was));
  if (c.start)
    printf("  the first sample reads back at %.9g s, it was at %.9g s\n", plb_capture_start_s(is), plb_capture_start_s(was));
  if (c.names || c.units)
    printf("  the format does not keep %s\n", !c.units ? "these names" : c.names ? "names and units" : "these units");
}

static int convert(const cli_inputs *inputs, const char *path, bool ascii) {
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL, *back = NULL;
  plb_status status = cli_inputs_read(inputs, 0, &capture, &err);
  if (status == PLB_OK)
    status = write_as(form_of(path), capture, path, ascii, &err);
  if (status == PLB_OK)
    status = plb_capture_open(&back, path, NULL, &err);
  if (status == PLB_OK)
    tell(path, capture, back);
  plb_capture_free(capture);
  plb_capture_free(back);
  return status == PLB_OK ? CLI_OK : cli_fail(&err);
}

/* A .cfg brings a .dat beside it, in capitals where its own ending is. @return false: it is no .cfg, or too long */
static bool beside_of(const char *output, char out[PLB_PATH_SIZE]) {
  const size_t n = strlen(output);
  if (n < 4 || n >= PLB_PATH_SIZE || (strcmp(output + n - 4, ".cfg") != 0 && strcmp(output + n - 4, ".CFG") != 0))
    return false;
  memcpy(out, output, n - 3);
  memcpy(out + n - 3, output[n - 1] == 'G' ? "DAT" : "dat", 4);
  return true;
}

static bool falls_on(const char *output, const char *input) {
  char beside[PLB_PATH_SIZE];
  return cli_same_file(output, input) || (beside_of(output, beside) && cli_same_file(beside, input));
}

/* A .dat that is there without its .cfg is somebody else's. */
static int check_beside(const char *command, const char *output) {
  char beside[PLB_PATH_SIZE];
  const bool foreign = beside_of(output, beside) && access(beside, F_OK) == 0 && access(output, F_OK) != 0;
  return foreign ? cli_usage(command, "%s is there already and does not belong to %s; name another file", beside, output) : 0;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  const char *path = cli_value(arguments, &opt_output);
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  inputs.told = true;
  if (status == 0 && inputs.count != 1)
    status = cli_usage(arguments->command, "%zu captures are named; give one", inputs.count);
  if (status == 0 && !path)
    status = cli_usage(arguments->command, "no output is named; give -o FILE");
  if (status == 0 && form_of(path) == FORM_NONE)
    status = cli_usage(arguments->command, "%s: the ending tells no format; use .csv, .txt, .wav, .npy, .cfg, .cff or .xml", path);
  if (status == 0 && cli_given(arguments, &opt_ascii) && form_of(path) != FORM_COMTRADE)
    status = cli_usage(arguments->command, "--ascii is for COMTRADE; name the output .cfg or .cff");
  if (status == 0 && falls_on(path, inputs.item[0].path))
    status = cli_usage(arguments->command, "%s is the capture itself; name another file", path);
  if (status == 0)
    status = check_beside(arguments->command, path);
  if (status == 0)
    status = cli_output_possible(path);
  if (status == 0)
    status = convert(&inputs, path, cli_given(arguments, &opt_ascii));
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_convert = {
    "convert",
    "write a capture in another format",
    "[options] CAPTURE -o FILE",
    "Writes the capture as delimited text, WAVE, NumPy .npy, COMTRADE 2013 or our own capture document, reads the file "
    "back and says whether every value, the rate and the names came back.\n"
    "Text and our own document keep all. WAVE keeps values and whole rates. COMTRADE keeps the whole numbers of a recorder, "
    "or floats, and says when it had to round; it wants a date, and 1 January 1970 stands for the one that is not known.",
    "  plumb convert trace.csv -o trace.cff\n"
    "  plumb convert trace.cfg -o trace.csv",
    options,
    run};
