#include "reference/grammar.h"
#include "core/core.h"

#include <stdlib.h>
#include <string.h>

static bool all_of(const char *text, size_t size, const char *set) {
  return strlen(text) == size && strspn(text, set) == size;
}

static const char hexadecimal[] = "0123456789abcdef";

/* -?(0|[1-9][0-9]*), within 64 bits. */
static bool is_long(const char *text, size_t size) {
  size_t i = size > 0 && text[0] == '-';
  const size_t first = i;
  while (i < size && text[i] >= '0' && text[i] <= '9')
    i++;
  if (i != size || i == first || (text[first] == '0' && size != 1))
    return false;
  static const char most[] = "9223372036854775807";
  const size_t digits = sizeof most - 1;
  return i - first < digits || (i - first == digits && memcmp(text + first, most, digits) <= 0);
}

static bool is_longs(const char *text) {
  for (;;) {
    const size_t size = strcspn(text, " ");
    if (!is_long(text, size))
      return false;
    if (text[size] == '\0')
      return true;
    text += size + 1;
  }
}

/* -?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?, at most 40 bytes. */
bool plb_rule_is_number(const char *text, size_t size) {
  size_t i = size > 0 && text[0] == '-';
  size_t first = i;
  while (i < size && text[i] >= '0' && text[i] <= '9')
    i++;
  if (i == first || size > 40)
    return false;
  if (i < size && text[i] == '.') {
    first = ++i;
    while (i < size && text[i] >= '0' && text[i] <= '9')
      i++;
    if (i == first)
      return false;
  }
  if (i < size && text[i] == 'e') {
    i++;
    i += i < size && (text[i] == '+' || text[i] == '-');
    first = i;
    while (i < size && text[i] >= '0' && text[i] <= '9')
      i++;
    if (i == first)
      return false;
  }
  double value;
  return i == size && plb_text_number(text, size, &value);
}

/* The form only: 2024-02-31 passes. */
static bool is_date(const char *text) {
  static const char form[] = "dddd-dd-ddTdd:dd:ddZ";
  const size_t size = strlen(text);
  if (size != 10 && size != 20)
    return false;
  for (size_t i = 0; i < size; i++)
    if (form[i] == 'd' ? !(text[i] >= '0' && text[i] <= '9') : text[i] != form[i])
      return false;
  return true;
}

static bool is_path(const char *text) {
  char type[PLB_NAME_SIZE];
  const char *slash = strchr(text, '/');
  if (!slash || (size_t)(slash - text) >= sizeof type || strlen(text) >= PLB_TEXT_SIZE)
    return false;
  memcpy(type, text, (size_t)(slash - text));
  type[slash - text] = '\0';
  return plb_text_is_slug(type) && plb_text_is_name(slash + 1);
}

static bool is_integer(const plb_attribute_rule *rule, const char *text) {
  const size_t size = strlen(text);
  if (!is_long(text, size))
    return false;
  const int64_t value = strtoll(text, NULL, 10);
  return value >= rule->low && value <= rule->high;
}

static bool is_word(const plb_attribute_rule *rule, const char *text) {
  for (size_t i = 0; rule->word[i]; i++)
    if (strcmp(rule->word[i], text) == 0)
      return true;
  return false;
}

bool plb_rule_accepts(const plb_attribute_rule *rule, const char *text) {
  const size_t size = strlen(text);
  switch (rule->kind) {
  case PLB_VALUE_NAME:
    return size > 0 && size < PLB_NAME_SIZE;
  case PLB_VALUE_TEXT:
    return size > 0 && size < PLB_TEXT_SIZE;
  case PLB_VALUE_UNIT:
    return size > 0 && size < PLB_UNIT_SIZE;
  case PLB_VALUE_SLUG:
    return size < PLB_NAME_SIZE && plb_text_is_slug(text);
  case PLB_VALUE_PATH:
    return is_path(text);
  case PLB_VALUE_ID:
    return all_of(text, 32, hexadecimal);
  case PLB_VALUE_HASH:
    return all_of(text, 64, hexadecimal);
  case PLB_VALUE_CRC:
    return all_of(text, 8, hexadecimal);
  case PLB_VALUE_DATE:
    return is_date(text);
  case PLB_VALUE_NUMBER:
    return plb_rule_is_number(text, size);
  case PLB_VALUE_INTEGER:
    return is_integer(rule, text);
  case PLB_VALUE_LONGS:
    return is_longs(text);
  case PLB_VALUE_FLAG:
    return strcmp(text, "true") == 0 || strcmp(text, "false") == 0;
  case PLB_VALUE_WORD:
    return is_word(rule, text);
  }
  return false;
}
