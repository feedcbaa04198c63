#include "option.h"
#include "message.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 80, HELP_COLUMN = 24, MOST_NAMES = 64, LONGEST_WORD = 63 };

/* Edit distance (insert, delete, replace), the usual dynamic programme over one row. */
static size_t edit_distance(const char *a, const char *b) {
  size_t row[LONGEST_WORD + 1];
  const size_t n = strlen(b);
  for (size_t j = 0; j <= n; j++)
    row[j] = j;
  for (size_t i = 1; a[i - 1]; i++) {
    size_t diagonal = row[0];
    row[0] = i;
    for (size_t j = 1; j <= n; j++) {
      const size_t replaced = diagonal + (a[i - 1] != b[j - 1]);
      diagonal = row[j];
      size_t best = row[j] + 1;
      if (row[j - 1] + 1 < best)
        best = row[j - 1] + 1;
      row[j] = replaced < best ? replaced : best;
    }
  }
  return row[n];
}

const char *cli_nearest(const char *word, const char *const *names) {
  const char *nearest = NULL;
  size_t least = SIZE_MAX;
  const size_t length = strlen(word);
  if (length == 0 || length > LONGEST_WORD)
    return NULL;
  for (size_t i = 0; names[i]; i++) {
    /* The beginning of a name is as good as a slip of the finger. */
    const size_t d = strncmp(names[i], word, length) == 0 ? 1 : edit_distance(word, names[i]);
    if (d < least) {
      least = d;
      nearest = names[i];
    }
  }
  return least <= 1 + length / 4 ? nearest : NULL;
}

static int unknown_option(const char *command, const cli_option *const *options, const char *word) {
  const char *names[MOST_NAMES + 1];
  size_t count = 0;
  for (; count < MOST_NAMES && options[count]; count++)
    names[count] = options[count]->name;
  names[count] = NULL;
  char name[LONGEST_WORD + 1];
  snprintf(name, sizeof name, "%.*s", (int)strcspn(word, "="), word);
  const char *near = cli_nearest(name + strspn(name, "-"), names);
  if (near)
    return cli_usage(command, "unknown option %s; did you mean --%s?", name, near);
  return cli_usage(command, "unknown option %s", name);
}

static const cli_option *find_long(const cli_option *const *options, const char *name, size_t length) {
  for (; *options; options++)
    if (strlen((*options)->name) == length && strncmp((*options)->name, name, length) == 0)
      return *options;
  return NULL;
}

static const cli_option *find_letter(const cli_option *const *options, char letter) {
  for (; *options; options++)
    if ((*options)->letter == letter)
      return *options;
  return NULL;
}

/* "-10..10" and "-.5V" are values: no option begins with a digit. */
static bool is_option(const char *word) {
  return word[0] == '-' && word[1] != '\0' && word[1] != '.' && !(word[1] >= '0' && word[1] <= '9');
}

/* The option that `word` names, and the value glued to it ("--name=value", "-ofile"), NULL if none. */
static const cli_option *recognise(const cli_option *const *options, const char *word, const char **glued) {
  *glued = NULL;
  if (word[1] != '-') {
    const cli_option *found = find_letter(options, word[1]);
    if (found && word[2] != '\0')
      *glued = word + 2;
    return found && *glued && !found->value ? NULL : found;
  }
  const size_t length = strcspn(word + 2, "=");
  if (word[2 + length] == '=')
    *glued = word + 2 + length + 1;
  return find_long(options, word + 2, length);
}

/* Take one option and its value. @return words used, or the negative exit status */
static int take_option(cli_arguments *out, const cli_option *const *options, int left, char *const *words) {
  const char *value = NULL;
  const cli_option *option = recognise(options, words[0], &value);
  if (!option)
    return -unknown_option(out->command, options, words[0]);
  int used = 1;
  if (!option->value && value)
    return -cli_usage(out->command, "option --%s takes no value", option->name);
  if (option->value && !value) {
    if (left < 2 || is_option(words[1]))
      return -cli_usage(out->command, "option --%s needs a value: --%s %s", option->name, option->name, option->value);
    value = words[1];
    used = 2;
  }
  if (value && !*value)
    return -cli_usage(out->command, "the value of option --%s is empty; give --%s %s", option->name, option->name,
                      option->value);
  if (option->value && !option->repeats && cli_given(out, option))
    return -cli_usage(out->command, "option --%s is given twice; keep one", option->name);
  out->item[out->count++] = (cli_item){option, value};
  return used;
}

int cli_arguments_parse(cli_arguments *out, const char *command, const cli_option *const *options, int count,
                        char *const *words) {
  *out = (cli_arguments){command, calloc((size_t)count + 1, sizeof(cli_item)), 0};
  if (!out->item)
    return cli_out_of_memory();
  bool ended = false;
  for (int i = 0; i < count;) {
    if (!ended && strcmp(words[i], "--") == 0) {
      ended = true;
      i++;
    } else if (!ended && is_option(words[i])) {
      const int used = take_option(out, options, count - i, words + i);
      if (used < 0)
        return -used;
      i += used;
    } else {
      if (!*words[i])
        return cli_usage(command, "a file name is empty; name a file");
      out->item[out->count++] = (cli_item){NULL, words[i++]};
    }
  }
  return 0;
}

void cli_arguments_dispose(cli_arguments *arguments) {
  free(arguments->item);
  *arguments = (cli_arguments){arguments->command, NULL, 0};
}

bool cli_given(const cli_arguments *arguments, const cli_option *option) {
  for (size_t i = 0; i < arguments->count; i++)
    if (arguments->item[i].option == option)
      return true;
  return false;
}

const char *cli_value(const cli_arguments *arguments, const cli_option *option) {
  for (size_t i = 0; i < arguments->count; i++)
    if (arguments->item[i].option == option)
      return arguments->item[i].value;
  return NULL;
}

size_t cli_values(const cli_arguments *arguments, const cli_option *option, const char **out) {
  size_t count = 0;
  for (size_t i = 0; i < arguments->count; i++)
    if (arguments->item[i].option == option)
      out[count++] = arguments->item[i].value;
  return count;
}

int cli_whole(const cli_arguments *arguments, const cli_option *option, long lowest, long highest, long *out) {
  const char *text = cli_value(arguments, option);
  char *end = NULL;
  errno = 0;
  const long value = strtol(text, &end, 10);
  if (errno || end == text || *end || value < lowest || value > highest)
    return cli_usage(arguments->command, "--%s %s: it must be a whole number from %ld to %ld", option->name, text,
                     lowest, highest);
  *out = value;
  return 0;
}

void cli_wrap(const char *text, int indent) {
  int column = indent;
  bool first = true;
  while (*text) {
    const int length = (int)strcspn(text, " ");
    if (!first && column + 1 + length > WIDTH) {
      printf("\n%*s", indent, "");
      column = indent;
      first = true;
    }
    printf("%s%.*s", first ? "" : " ", length, text);
    column += length + !first;
    first = false;
    text += length;
    text += strspn(text, " ");
  }
  putchar('\n');
}

void cli_option_help(const cli_option *const *options) {
  for (; *options; options++) {
    const cli_option *o = *options;
    int column = o->letter ? printf("  -%c, --%s", o->letter, o->name) : printf("  --%s", o->name);
    if (o->value)
      column += printf(" %s", o->value);
    if (column > HELP_COLUMN - 2) {
      putchar('\n');
      column = 0;
    }
    printf("%*s", HELP_COLUMN - column, "");
    cli_wrap(o->help, HELP_COLUMN);
  }
}
