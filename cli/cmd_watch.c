/* plumb watch: events while they happen, and the moment somebody wiggled the harness. */
#include "command.h"
#include "input.h"
#include "keys.h"
#include "message.h"
#include "output.h"
#include "stream_options.h"

#include <plumbline/event.h>

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const cli_option opt_cycles = {"cycles", 0, NULL, false,
                                      "Print a line for each whole cycle of pulses too (cycle/1)."};
static const cli_option opt_bell = {"bell", 0, NULL, false, "Sound the terminal's bell at each event."};
static const cli_option opt_text = {"text", 0, NULL, false, "Print lines for people instead of JSON."};
static const cli_option *const options[] = {&cli_opt_raw, &cli_opt_rate, &cli_opt_raw_channels, &cli_opt_raw_scale,
                                            &cli_opt_channel, &cli_opt_sigma, &cli_opt_cut, &opt_cycles, &opt_bell, &opt_text, NULL};

typedef struct watcher {
  plb_watch *watch;
  cli_keys keys;
  bool bell, text, stop;
  plb_status status; /* of printing */
} watcher;

/* A line is of use only when it is there at once. */
static bool print(watcher *w, plb_status status, char *line) {
  if (status == PLB_OK) {
    cli_output_text(line);
    fflush(stdout);
  } else {
    w->status = status;
  }
  free(line);
  return status == PLB_OK && !ferror(stdout);
}

static bool print_event(const plb_event *event, void *payload) {
  watcher *w = payload;
  char *line = NULL;
  const plb_status status = w->text ? plb_event_text(&line, event, NULL) : plb_event_json(&line, event, NULL);
  if (w->bell)
    cli_keys_bell(&w->keys);
  return print(w, status, line);
}

static bool print_cycle(const char *channel, double time_s, double period_s, double high_s, double lowest,
                        double highest, void *payload) {
  watcher *w = payload;
  char *line = NULL;
  if (w->text) {
    printf("%14.6f s  cycle    %-14s period %.6g s, high %.6g s, %.5g to %.5g\n", time_s, channel, period_s, high_s, lowest, highest);
    return fflush(stdout) == 0;
  }
  const plb_status status = plb_event_cycle_json(&line, channel, time_s, period_s, high_s, lowest, highest, NULL);
  return print(w, status, line);
}

static void print_mark(watcher *w, const char *what) {
  const double time_s = plb_watch_time_s(w->watch);
  char *line = NULL;
  if (w->text) {
    printf("%14.6f s  mark     %s\n", time_s, what);
    fflush(stdout);
    return;
  }
  const plb_status status = plb_event_mark_json(&line, what, time_s, NULL);
  if (!print(w, status, line))
    w->stop = true;
}

static void take_key(watcher *w) {
  switch (cli_keys_read(&w->keys)) {
  case 'w':
    print_mark(w, "wiggle");
    break;
  case 'h':
    print_mark(w, "heat");
    break;
  case 'c':
    print_mark(w, "cold");
    break;
  case 'q':
    w->stop = true;
    break;
  default:
    break;
  }
}

static plb_status follow(watcher *w, bool cycles, plb_error *err) {
  const plb_event_listener listener = {
      .on_event = print_event, .on_cycle = cycles ? print_cycle : NULL, .payload = w};
  plb_status status = PLB_OK;
  bool open = true;
  while (status == PLB_OK && open && !w->stop && !cli_keys_interrupted()) {
    struct pollfd from[2] = {{.fd = STDIN_FILENO, .events = POLLIN}, {.fd = w->keys.fd, .events = POLLIN}};
    if (poll(from, 2, -1) < 0)
      continue; /* interrupted; the loop asks by what */
    if (from[1].revents & POLLIN)
      take_key(w);
    else if (from[1].revents)
      cli_keys_close(&w->keys); /* the terminal has gone */
    if (from[0].revents)
      status = plb_watch_step(w->watch, &listener, &open, err);
  }
  return status;
}

static int report(watcher *w, plb_status status, plb_error *err) {
  plb_search_summary summary;
  char *line = NULL;
  if (status != PLB_OK)
    return cli_fail(err);
  plb_watch_summary(w->watch, &summary);
  status = w->text ? plb_events_text(&line, &summary, NULL) : plb_events_json(&line, &summary, NULL);
  print(w, status, line);
  return w->status == PLB_OK ? CLI_OK : cli_out_of_memory();
}

static int watch(const plb_search_options *how, const cli_arguments *arguments) {
  plb_error err = PLB_ERROR_INIT;
  watcher w = {.keys = {-1}, .bell = cli_given(arguments, &opt_bell), .text = cli_given(arguments, &opt_text)};
  plb_status status = plb_watch_new(&w.watch, STDIN_FILENO, how, &err);
  if (status == PLB_OK) {
    cli_keys_open(&w.keys);
    status = follow(&w, cli_given(arguments, &opt_cycles), &err);
    cli_keys_close(&w.keys);
  }
  const int exit_status = report(&w, status, &err);
  plb_watch_free(w.watch);
  return exit_status;
}

static int run(const cli_arguments *arguments) {
  cli_inputs inputs;
  plb_search_options how = PLB_SEARCH_OPTIONS_INIT;
  int status = cli_inputs_gather(&inputs, arguments, NULL);
  if (status == 0 && (inputs.count != 1 || strcmp(inputs.item[0].path, "-") != 0))
    status = cli_usage(arguments->command, "samples come from standard input; write plumb watch - ... (plumb search reads files)");
  if (status == 0 && !cli_given(arguments, &cli_opt_raw))
    status = cli_usage(arguments->command, "say how the samples are stored: --raw int16, int32, float32 or float64");
  if (status == 0)
    status = cli_stream_options(arguments, &inputs, &how.stream);
  if (status == 0 && cli_given(arguments, &cli_opt_sigma))
    status = cli_real(arguments, &cli_opt_sigma, &how.sigma);
  how.channel = inputs.channel;
  how.channels = inputs.channels;
  how.cut_folder = cli_value(arguments, &cli_opt_cut);
  if (status == 0)
    status = watch(&how, arguments);
  cli_inputs_dispose(&inputs);
  return status;
}

const cli_command cli_watch = {
    "watch",
    "tell dropouts, spikes and missing pulses while they happen",
    "- --raw TYPE --rate RATE [options]",
    "Reads bare samples from standard input, as a recorder sends them, and prints a line of JSON for each event as soon "
    "as it is over (event/1), the last line sums up (events/1). What is usual is learned from what has arrived lately.\n"
    "At a terminal, keys mark the moment (mark/1): w somebody wiggles the harness, h heats, c cools or wets it; q ends. "
    "The terminal is put back as it was.",
    "  recorder | plumb watch - --raw int16 --rate 10kHz --raw-scale 0.001 --bell\n"
    "  recorder | plumb watch - --raw float32 --rate 50kHz --raw-channels 2 --channel crank=1:V --channel cam=2:V --cycles",
    options,
    run};
