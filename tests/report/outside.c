#include "tests/report/outside.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

void outside_write(const char *name, const char *text, char path[1024]) {
  snprintf(path, 1024, "%s/report-%ld-%s", PLB_BINARY_DIR, (long)getpid(), name);
  FILE *f = fopen(path, "wb");
  assert_non_null(f);
  assert_int_equal(fputs(text, f) >= 0, 1);
  assert_int_equal(fclose(f), 0);
}

static int run(const char *command) {
  const int status = system(command);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

void assert_valid_json(const char *schema, const char *name, const char *text) {
  char path[1024], command[4096];
  if (access("/usr/bin/python3", X_OK) != 0) {
    print_message("skipped: /usr/bin/python3 is not installed\n");
    skip();
  }
  outside_write(name, text, path);
  snprintf(command, sizeof command, "/usr/bin/python3 '%s/tests/report/validate.py' '%s/schema/%s' '%s'",
           PLB_SOURCE_DIR, PLB_SOURCE_DIR, schema, path);
  const int status = run(command);
  if (status == 77)
    skip(); /* the script has said why */
  assert_int_equal(status, 0);
  unlink(path);
}

void assert_well_formed(const char *name, const char *text) {
  char path[1024], command[2048];
  if (run("xmllint --version >/dev/null 2>&1") != 0) {
    print_message("skipped: xmllint (libxml2-utils) is not installed\n");
    skip();
  }
  outside_write(name, text, path);
  snprintf(command, sizeof command, "xmllint --noout --nonet '%s'", path);
  assert_int_equal(run(command), 0);
  unlink(path);
}
