#include "core/fail.h"
#include "core/text.h"

#include <plumbline/version.h>
#include <string.h>

typedef struct status_row {
  plb_status status;
  int exit;
  const char *text;
} status_row;

/* Exit codes follow sysexits.h of BSD, so that scripts can tell a bad file from a bad command. */
static const status_row statuses[] = {
    {PLB_OK, 0, "all is well"},
    {PLB_EUSAGE, 64, "the request makes no sense"},
    {PLB_EDATA, 65, "the input is malformed or does not fit the request"},
    {PLB_ENOINPUT, 66, "the input does not exist or cannot be opened"},
    {PLB_EUNAVAILABLE, 69, "a helper program or a remote is missing"},
    {PLB_EINTERNAL, 70, "this is a mistake in the library"},
    {PLB_ECREATE, 73, "the output cannot be created"},
    {PLB_EIO, 74, "reading or writing failed"},
    {PLB_EBUSY, 75, "the collection is held by another writer"},
    {PLB_EREFUSED, 77, "a rule forbids it"},
    {PLB_ENOMEM, 70, "memory is short, or a stated budget is used up"},
    {PLB_EINVAL, 70, "a call broke the rules of the library"},
};

static const status_row *find_status(plb_status status) {
  for (size_t i = 0; i < sizeof statuses / sizeof statuses[0]; i++)
    if (statuses[i].status == status)
      return &statuses[i];
  return NULL;
}

const char *plb_version(void) { return PLB_VERSION; }

const char *plb_status_text(plb_status status) {
  const status_row *row = find_status(status);
  return row ? row->text : "the status is unknown";
}

int plb_status_exit(plb_status status) {
  const status_row *row = find_status(status);
  return row ? row->exit : 70;
}

/* A message may quote a hostile file. One line of well-formed UTF-8 without control characters is safe for a
 * terminal and for JSON; this also drops a character that the end of the field cut in two. */
static void clean_line(char *text) {
  char *to = text;
  for (const char *from = text; *from;) {
    const size_t length = plb_text_utf8(from);
    const unsigned char first = (unsigned char)from[0];
    const bool c1 = length == 2 && first == 0xC2 && (unsigned char)from[1] < 0xA0;
    if (length == 0 || c1 || first < 0x20 || first == 0x7F) {
      *to++ = '?';
      from += c1 ? 2 : 1;
      continue;
    }
    memmove(to, from, length);
    to += length;
    from += length;
  }
  *to = '\0';
}

static void fill(plb_error *err, plb_status status, const char *format, va_list values) PLB_PRINTF(3, 0);

static void fill(plb_error *err, plb_status status, const char *format, va_list values) {
  if (!err)
    return;
  /* Written aside first: a value may be err->message itself. */
  char message[sizeof err->message];
  const int needed = plb_text_vprint(message, sizeof message, format, values);
  if (needed < 0)
    message[0] = '\0';
  else if ((size_t)needed >= sizeof message)
    plb_text_drop_cut(message, sizeof message);
  clean_line(message);
  *err = (plb_error)PLB_ERROR_INIT;
  err->status = status;
  memcpy(err->message, message, strlen(message) + 1);
}

plb_status plb_fail(plb_error *err, plb_status status, const char *format, ...) {
  va_list values;
  va_start(values, format);
  fill(err, status, format, values);
  va_end(values);
  return status;
}

plb_status plb_fail_line(plb_error *err, plb_status status, int64_t line, int64_t column, const char *format, ...) {
  va_list values;
  va_start(values, format);
  fill(err, status, format, values);
  va_end(values);
  if (err) {
    err->line = line;
    err->column = column;
  }
  return status;
}

plb_status plb_fail_byte(plb_error *err, plb_status status, int64_t byte, const char *format, ...) {
  va_list values;
  va_start(values, format);
  fill(err, status, format, values);
  va_end(values);
  if (err)
    err->byte = byte;
  return status;
}

/* The end of a path tells files apart, so a long one loses its beginning. */
static void copy_path(char *out, size_t size, const char *path) {
  const size_t length = strlen(path);
  if (length < size) {
    memcpy(out, path, length + 1);
    return;
  }
  memcpy(out, "...", 3);
  memcpy(out + 3, path + length - (size - 4), size - 3);
}

plb_status plb_fail_path(plb_error *err, plb_status status, const char *path) {
  if (!err)
    return status;
  if (err->status == PLB_OK)
    plb_fail(err, status, "%s", plb_status_text(status));
  if (err->path[0] == '\0' && path)
    copy_path(err->path, sizeof err->path, path);
  return err->status;
}

static void clean_path(char *text) {
  for (; *text; text++)
    if ((unsigned char)*text < 0x20 || *text == 0x7F)
      *text = '?';
}

void plb_error_format(const plb_error *error, char *out, size_t size) {
  const char *message = error->message[0] ? error->message : plb_status_text(error->status);
  int needed;
  if (error->path[0] == '\0')
    needed = plb_text_print(out, size, "%s", message);
  else if (error->line > 0 && error->column > 0)
    needed = plb_text_print(out, size, "%s:%lld:%lld: %s", error->path, (long long)error->line,
                            (long long)error->column, message);
  else if (error->line > 0)
    needed = plb_text_print(out, size, "%s:%lld: %s", error->path, (long long)error->line, message);
  else if (error->byte >= 0)
    needed = plb_text_print(out, size, "%s@%lld: %s", error->path, (long long)error->byte, message);
  else
    needed = plb_text_print(out, size, "%s: %s", error->path, message);
  if (needed < 0)
    out[0] = '\0';
  else if ((size_t)needed >= size)
    plb_text_drop_cut(out, size);
  clean_path(out);
}
