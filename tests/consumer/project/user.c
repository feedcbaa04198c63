/* A program outside the project: reads a capture from memory, checks it, and lets the library refuse a bad one. */
#include <plumbline/plumbline.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int read_good(void) {
  char text[8192];
  size_t length = 0;
  for (int i = 0; i < 400; i++)
    length +=
        (size_t)snprintf(text + length, sizeof text - length, "%d.%03d\t%d\n", i / 1000, i % 1000, i % 9 < 4 ? 12 : 0);
  plb_capture *capture = NULL;
  plb_reason *reasons = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  int bad = plb_capture_read_memory(&capture, text, length, "memory", NULL, &err) != PLB_OK;
  if (!bad)
    bad = plb_capture_samples(capture) != 400 || plb_capture_check(capture, &reasons, &count, &err) != PLB_OK;
  if (bad)
    fprintf(stderr, "a good capture is refused: %s\n", err.message);
  free(reasons);
  plb_capture_free(capture);
  return bad;
}

static int refuse_bad(void) {
  plb_reference *reference = NULL;
  plb_error err = PLB_ERROR_INIT;
  const char text[] = "<reference>";
  const plb_status status = plb_reference_read_memory(&reference, text, strlen(text), "memory", &err);
  plb_reference_free(reference);
  if (status == PLB_EDATA && plb_status_exit(status) == 65 && err.message[0])
    return 0;
  fprintf(stderr, "a broken reference is not refused\n");
  return 1;
}

int main(void) {
  if (strcmp(plb_version(), PLB_VERSION) != 0) {
    fprintf(stderr, "header %s, library %s\n", PLB_VERSION, plb_version());
    return 1;
  }
  return read_good() || refuse_bad();
}
