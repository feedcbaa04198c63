/* make-references FOLDER COUNT TYPES EXEMPLARS [FIRST]: many different references, for the tests of the program. */
#include "collection/fixture.h"

#include <stdio.h>

int main(int count, char **words) {
  if (count < 5) {
    fprintf(stderr, "usage: make-references FOLDER COUNT TYPES EXEMPLARS [FIRST]\n");
    return 64;
  }
  const int n = atoi(words[2]), types = atoi(words[3]), exemplars = atoi(words[4]), first = count > 5 ? atoi(words[5]) : 0;
  for (int i = first; i < first + n; i++) {
    char path[PLB_PATH_SIZE], name[PLB_TEXT_SIZE];
    snprintf(name, sizeof name, "type-%02d/name-%05d", i % types, i);
    snprintf(path, sizeof path, "%s/ref-%05d.xml", words[1], i);
    fixture_write(path, name, (unsigned)i, (size_t)exemplars);
  }
  return 0;
}
