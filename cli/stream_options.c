#include "stream_options.h"
#include "message.h"

#include <math.h>
#include <stdlib.h>

const cli_option cli_opt_raw = {
    "raw", 0, "TYPE", false,
    "The recording is bare samples, little-endian, channel by channel in turn: int16, int32, float32 or float64. "
    "Say their --rate too."};
const cli_option cli_opt_raw_channels = {"raw-channels", 0, "N", false, "How many channels bare samples have; default 1."};
const cli_option cli_opt_raw_scale = {"raw-scale", 0, "X", false, "What one of a bare sample's numbers is worth; default 1."};

const cli_option cli_opt_sigma = {
    "sigma", 0, "N", false,
    "Least size of an event, in standard deviations of the usual scatter times the root of its samples (5 to 1000; "
    "default 6.2, at which noise alone shows about one event in two hours at 10 kS/s)."};
const cli_option cli_opt_cut = {"cut", 0, "DIR", false, "Write what stood around each event as a capture into this folder."};

int cli_real(const cli_arguments *arguments, const cli_option *option, double *out) {
  const char *text = cli_value(arguments, option);
  char *end = NULL;
  *out = strtod(text, &end);
  if (end == text || *end != '\0' || !isfinite(*out))
    return cli_usage(arguments->command, "--%s %s is no number", option->name, text);
  return 0;
}

int cli_stream_options(const cli_arguments *arguments, const cli_inputs *inputs, plb_stream_options *out) {
  *out = (plb_stream_options)PLB_STREAM_OPTIONS_INIT;
  out->rate_hz = inputs->reading.rate_hz;
  const char *type = cli_value(arguments, &cli_opt_raw);
  if (type && !plb_sample_type_parse(type, &out->type))
    return cli_usage(arguments->command, "--raw %s is no type of sample; write int16, int32, float32 or float64", type);
  long channels = 1;
  if (cli_given(arguments, &cli_opt_raw_channels)) {
    const int status = cli_whole(arguments, &cli_opt_raw_channels, 1, 1024, &channels);
    if (status != 0)
      return status;
  }
  out->channels = (size_t)channels;
  return cli_given(arguments, &cli_opt_raw_scale) ? cli_real(arguments, &cli_opt_raw_scale, &out->scale) : 0;
}
