#ifndef PLB_TESTS_CORE_COMMA_LOCALE_H
#define PLB_TESTS_CORE_COMMA_LOCALE_H
/** @file  Switch a test to a locale that writes a decimal comma. */
#include <locale.h>
#include <stdbool.h>
#include <stdio.h>

/** False, with a line saying so, when the machine has none: the test should skip(). setlocale(LC_ALL, "C") ends it. */
static inline bool enter_comma_locale(void) {
  static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "fr_FR.utf8", "de_DE"};
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
    if (setlocale(LC_ALL, names[i]) && localeconv()->decimal_point[0] == ',')
      return true;
  setlocale(LC_ALL, "C");
  puts("no locale with a decimal comma on this machine: skipped");
  return false;
}

#endif
