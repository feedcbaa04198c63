#include "input.h"
#include "message.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const cli_option cli_opt_channel = {
    "channel", 0, "ROLE=COLUMN[:UNIT[:FACTOR]]", true,
    "Which column is which channel. Columns count from 1, the time column included; all digits is a number, anything "
    "else a header name. FACTOR is the probe factor. May be given more than once."};
const cli_option cli_opt_rate = {
    "rate", 0, "RATE", false, "The file has no time column; its samples come at this rate: 1kHz, 50kS/s, 44100 (Hz)."};
const cli_option cli_opt_files_from = {
    "files-from", 0, "LIST|-", true,
    "Take more captures from this list, one path on each line; - reads the list from standard input."};
const cli_option cli_opt_condition = {
    "condition", 0, "NAME=VALUE|LOW..HIGH|WORD", true,
    "State a condition, such as load=half, speed=600..6000/min, supply=12..15V, state=hot-idle. May be given more "
    "than once."};

const cli_option cli_opt_rated = {"rated", 0, "[ROLE=]LOW..HIGH", true,
                                  "The range that the instrument is rated for, in the channel's unit: samples at or beyond it are counted and the "
                                  "recording is called clipped. Never measure beyond the rating of instrument, probe and leads."};
const cli_option cli_opt_zero = {"zero", 0, "[ROLE=]FROM..TO", true,
                                 "Take off the mean of this section, in which the truth is nought (leads shorted, clamp off the wire): 0s..0.5s."};
const cli_option cli_opt_scale = {"scale", 0, "ROLE=SIZE/UNIT[@LEVEL]|N:1", true,
                                  "What the probe gives for one unit, 100mV/A, with the level it gives at nought, 1V/bar@0.5V; or an attenuator, 20:1."};
const cli_option cli_opt_invert = {"invert", 0, "ROLE", true, "Turn this channel over."};
const cli_option cli_opt_ac_couple = {"ac-couple", 0, "ROLE=CORNER|mean", true,
                                      "Pass the channel through the high pass that an AC-coupled input is, with this corner (5Hz), which sags; or "
                                      "take only its average off."};
const cli_option cli_opt_filter = {"filter", 0, "ROLE=SHAPE:CORNER[,order=N]", true,
                                   "Filter forwards and backwards (nothing is shifted): low-pass:1kHz, high-pass:10Hz, band-pass:1kHz..5kHz, "
                                   "band-stop:45Hz..55Hz; order 1 to 8, default 2."};

static const struct {
  const cli_option *option;
  plb_conditioning_kind kind;
} conditionings[] = {{&cli_opt_rated, PLB_CONDITION_RATED},   {&cli_opt_zero, PLB_CONDITION_ZERO},
                     {&cli_opt_scale, PLB_CONDITION_SCALE},   {&cli_opt_invert, PLB_CONDITION_INVERT},
                     {&cli_opt_ac_couple, PLB_CONDITION_AC_COUPLE}, {&cli_opt_filter, PLB_CONDITION_FILTER}};
enum { CONDITIONINGS = sizeof conditionings / sizeof conditionings[0] };

double cli_rate_hz(const char *text) {
  static const struct {
    const char *unit;
    double hz;
  } units[] = {{"", 1},    {"Hz", 1},     {"kHz", 1e3},  {"MHz", 1e6},  {"GHz", 1e9},
               {"S/s", 1}, {"kS/s", 1e3}, {"MS/s", 1e6}, {"GS/s", 1e9}, {"/s", 1}};
  if (strspn(text, "0123456789.") == 0)
    return 0; /* no sign, no blanks, no "inf" and no hexadecimal */
  char *end = NULL;
  const double value = strtod(text, &end);
  if (strcspn(text, "xXpP") < (size_t)(end - text))
    return 0;
  end += strspn(end, " ");
  for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
    if (strcmp(end, units[i].unit) == 0) {
      const double hz = value * units[i].hz;
      return isfinite(hz) && hz > 0 ? hz : 0;
    }
  return 0;
}

/* Keep a string for as long as the inputs live. @return NULL when memory is short */
static char *keep(cli_inputs *inputs, char *text) {
  if (!text)
    return NULL;
  if (inputs->kepts == inputs->kept_room) {
    const size_t room = inputs->kept_room ? 2 * inputs->kept_room : 64;
    char **grown = realloc(inputs->kept, room * sizeof *grown);
    if (!grown) {
      free(text);
      return NULL;
    }
    inputs->kept = grown;
    inputs->kept_room = room;
  }
  inputs->kept[inputs->kepts++] = text;
  return text;
}

static bool add_item(cli_inputs *inputs, size_t *room, const char *path, const char *group) {
  if (inputs->count == *room) {
    const size_t wanted = *room ? 2 * *room : 16;
    cli_input *grown = realloc(inputs->item, wanted * sizeof *grown);
    if (!grown)
      return false;
    inputs->item = grown;
    *room = wanted;
  }
  inputs->item[inputs->count++] = (cli_input){path, group};
  return true;
}

static int list_error(plb_status status, const char *list, int64_t line, const char *what) {
  plb_error err = PLB_ERROR_INIT;
  err.status = status;
  err.line = line;
  snprintf(err.path, sizeof err.path, "%s", list);
  snprintf(err.message, sizeof err.message, "%s", what);
  return cli_fail(&err);
}

/* Take the paths of an open list. Blank lines and the CR of CRLF are dropped. */
static int add_listed(cli_inputs *inputs, size_t *room, FILE *file, const char *list, const char *group) {
  char *line = NULL;
  size_t size = 0;
  ssize_t length;
  int status = 0;
  for (int64_t number = 1; status == 0; number++) {
    errno = 0;
    length = getline(&line, &size, file);
    if (length < 0)
      break;
    while (length > 0 && (line[length - 1] == '\n' || line[length - 1] == '\r'))
      line[--length] = '\0';
    if (strlen(line) != (size_t)length)
      status =
          list_error(PLB_EDATA, list, number, "a line holds a NUL byte; give a text file with one path on each line");
    else if (length >= PLB_PATH_SIZE)
      status = list_error(PLB_EDATA, list, number, "the path is too long; give a shorter one");
    else if (length > 0) {
      const char *path = keep(inputs, strdup(line));
      if (!path || !add_item(inputs, room, path, group))
        status = cli_out_of_memory();
    }
  }
  if (status == 0 && ferror(file))
    status = list_error(errno == EISDIR ? PLB_ENOINPUT : PLB_EIO, list, 0,
                        errno == EISDIR ? "cannot read the list: it is a folder; name a file"
                                        : "cannot read the list; check the disk");
  free(line);
  return status;
}

static int add_list(cli_inputs *inputs, size_t *room, const char *list, const char *group) {
  if (strcmp(list, "-") == 0)
    return add_listed(inputs, room, stdin, "standard input", group);
  FILE *file = fopen(list, "r");
  if (!file)
    return list_error(PLB_ENOINPUT, list, 0, "cannot read the list; check its name and permissions");
  const int status = add_listed(inputs, room, file, list, group);
  fclose(file);
  return status;
}

/* A group holds for the captures after it, so the items are walked in the order given. */
static int gather_files(cli_inputs *out, const cli_arguments *arguments, const cli_option *group) {
  const char *current = NULL;
  size_t room = 0;
  for (size_t i = 0; i < arguments->count; i++) {
    const cli_item *item = &arguments->item[i];
    int status = 0;
    if (group && item->option == group)
      current = item->value;
    else if (item->option == &cli_opt_files_from)
      status = add_list(out, &room, item->value, current);
    else if (!item->option && !add_item(out, &room, item->value, current))
      status = cli_out_of_memory();
    if (status != 0)
      return status;
  }
  return 0;
}

static int usage_of_library(const char *command, const char *option, const plb_error *err) {
  return cli_usage(command, "--%s: %s", option, err->message);
}

static int gather_channels(cli_inputs *out, const cli_arguments *arguments) {
  out->channel_text = calloc(arguments->count + 1, sizeof *out->channel_text);
  out->channel = calloc(arguments->count + 1, sizeof *out->channel);
  if (!out->channel_text || !out->channel)
    return cli_out_of_memory();
  out->channels = cli_values(arguments, &cli_opt_channel, out->channel_text);
  for (size_t i = 0; i < out->channels; i++) {
    plb_error err = PLB_ERROR_INIT;
    if (plb_channel_map_parse(out->channel_text[i], &out->channel[i], &err) != PLB_OK)
      return usage_of_library(arguments->command, "channel", &err);
  }
  return 0;
}

static int gather_conditions(cli_inputs *out, const cli_arguments *arguments) {
  out->condition_text = calloc(arguments->count + 1, sizeof *out->condition_text);
  out->condition = calloc(arguments->count + 1, sizeof *out->condition);
  if (!out->condition_text || !out->condition)
    return cli_out_of_memory();
  out->conditions = cli_values(arguments, &cli_opt_condition, out->condition_text);
  for (size_t i = 0; i < out->conditions; i++) {
    plb_error err = PLB_ERROR_INIT;
    if (plb_stated_parse(out->condition_text[i], &out->condition[i], &err) != PLB_OK)
      return usage_of_library(arguments->command, "condition", &err);
  }
  return 0;
}

plb_status cli_conditioning_parse(const char *text, plb_conditioning *out, plb_error *err) {
  for (int k = 0; k < CONDITIONINGS; k++) {
    const char *name = conditionings[k].option->name;
    const size_t n = strlen(name);
    if (strncmp(text, name, n) == 0 && text[n] == '=')
      return plb_conditioning_parse(conditionings[k].kind, text + n + 1, out, err);
  }
  err->status = PLB_EDATA;
  snprintf(err->message, sizeof err->message, "\"%.100s\" is no conditioning that this version knows", text);
  return PLB_EDATA;
}

static int gather_conditioning(cli_inputs *out, const cli_arguments *arguments) {
  out->conditioning_text = calloc(arguments->count + 1, sizeof *out->conditioning_text);
  out->conditioning = calloc(arguments->count + 1, sizeof *out->conditioning);
  if (!out->conditioning_text || !out->conditioning)
    return cli_out_of_memory();
  for (size_t i = 0; i < arguments->count; i++) {
    const cli_item *item = &arguments->item[i];
    for (int k = 0; k < CONDITIONINGS; k++) {
      plb_error err = PLB_ERROR_INIT;
      if (item->option != conditionings[k].option)
        continue;
      const size_t size = strlen(item->option->name) + strlen(item->value) + 2;
      char *text = keep(out, malloc(size));
      if (!text)
        return cli_out_of_memory();
      snprintf(text, size, "%s=%s", item->option->name, item->value);
      out->conditioning_text[out->conditionings] = text;
      if (plb_conditioning_parse(conditionings[k].kind, item->value, &out->conditioning[out->conditionings++], &err) != PLB_OK)
        return usage_of_library(arguments->command, item->option->name, &err);
    }
  }
  return 0;
}

int cli_inputs_gather(cli_inputs *out, const cli_arguments *arguments, const cli_option *group) {
  memset(out, 0, sizeof *out);
  out->reading = (plb_read_options)PLB_READ_OPTIONS_INIT;
  const char *rate = cli_value(arguments, &cli_opt_rate);
  if (rate) {
    out->reading.rate_hz = cli_rate_hz(rate);
    if (out->reading.rate_hz <= 0)
      return cli_usage(arguments->command, "--rate %s is no sample rate; write it like 1kHz or 50kS/s", rate);
  }
  int status = gather_channels(out, arguments);
  if (status == 0)
    status = gather_conditions(out, arguments);
  if (status == 0)
    status = gather_conditioning(out, arguments);
  if (status == 0)
    status = gather_files(out, arguments, group);
  return status;
}

void cli_inputs_dispose(cli_inputs *inputs) {
  for (size_t i = 0; i < inputs->kepts; i++)
    free(inputs->kept[i]);
  free(inputs->kept);
  free(inputs->item);
  free(inputs->channel_text);
  free(inputs->channel);
  free(inputs->conditioning_text);
  free(inputs->conditioning);
  free(inputs->condition_text);
  free(inputs->condition);
  memset(inputs, 0, sizeof *inputs);
}

/* The folder of a path, freed from links and dots, with a slash at its end. malloc'ed, NULL when memory is short. */
static char *folder_of(const char *path) {
  const char *slash = strrchr(path, '/');
  char *folder = slash ? strndup(path, (size_t)(slash - path) + 1) : strdup("./");
  char *real = folder ? realpath(folder, NULL) : NULL;
  if (!real)
    return folder; /* not there: reading the capture will say so */
  free(folder);
  const size_t length = strlen(real);
  char *out = malloc(length + 2);
  if (out) {
    memcpy(out, real, length + 1);
    if (real[length - 1] != '/')
      memcpy(out + length, "/", 2);
  }
  free(real);
  return out;
}

/* How many bytes of whole folders two paths share at their beginning. */
static size_t shared_folders(const char *a, const char *b, size_t most) {
  size_t shared = 0;
  for (size_t i = 0; i < most && a[i] && a[i] == b[i]; i++)
    if (a[i] == '/')
      shared = i + 1;
  return shared;
}

/* "/fleet/north/van-3/" without what all share; the last folder's name where nothing is left. */
static void name_group(char *folder, size_t shared, bool all_alike) {
  size_t length = strlen(folder);
  while (length > 1 && folder[length - 1] == '/')
    folder[--length] = '\0';
  if (shared < length) {
    memmove(folder, folder + shared, length - shared + 1);
  } else if (all_alike) {
    const char *last = strrchr(folder, '/');
    if (last && last[1])
      memmove(folder, last + 1, strlen(last));
  } else {
    folder[0] = '.';
    folder[1] = '\0';
  }
}

int cli_inputs_group_by_folder(cli_inputs *inputs) {
  if (inputs->count == 0)
    return 0;
  const size_t first = inputs->kepts;
  size_t shared = SIZE_MAX;
  bool all_alike = true;
  for (size_t i = 0; i < inputs->count; i++) {
    const char *folder = keep(inputs, folder_of(inputs->item[i].path));
    if (!folder)
      return cli_out_of_memory();
    shared = shared_folders(inputs->kept[first], folder, shared);
    all_alike = all_alike && strcmp(inputs->kept[first], folder) == 0;
  }
  for (size_t i = 0; i < inputs->count; i++) {
    name_group(inputs->kept[first + i], shared, all_alike);
    inputs->item[i].group = inputs->kept[first + i];
  }
  return 0;
}

static void note_applied(const char *path, const plb_capture *capture) {
  for (size_t i = 0; i < plb_capture_applieds(capture); i++)
    cli_note("%s: applied: %s", path, plb_capture_applied(capture, i));
}

plb_status cli_inputs_read(const cli_inputs *inputs, size_t index, plb_capture **out, plb_error *err) {
  plb_status status = plb_capture_open(out, inputs->item[index].path, &inputs->reading, err);
  if (status != PLB_OK)
    return status;
  if (inputs->channels > 0)
    status = plb_capture_assign(*out, inputs->channel, inputs->channels, err);
  if (status == PLB_OK)
    status = plb_capture_condition(*out, inputs->conditioning, inputs->conditionings, err);
  if (status == PLB_OK && !inputs->told)
    note_applied(inputs->item[index].path, *out);
  if (status != PLB_OK) {
    plb_capture_free(*out);
    *out = NULL;
  }
  return status;
}
