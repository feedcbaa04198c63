/* The command: finds the sub-command, lets its option table sort the words, and runs it. */
#include "command.h"
#include "message.h"
#include "output.h"

#include <plumbline/version.h>

#include <stdio.h>
#include <string.h>

static const cli_command *const commands[] = {&cli_learn, &cli_compare, &cli_inspect, &cli_measure, &cli_pair, &cli_peers, &cli_locate,
    &cli_connect, &cli_trend, &cli_search, &cli_watch, &cli_convert, &cli_collection};
enum { COMMANDS = sizeof commands / sizeof commands[0] };

static const char exits[] = "exit status: 0 matches known-good, or done; 1 does not match; 2 doubtful; 3 cannot tell;\n"
                            "  64 usage, 65 bad data, 66 no input, 69 helper missing, 70 internal, 73 cannot create,\n"
                            "  74 input or output, 75 busy, 77 refused\n";

static const cli_command *find_command(const char *name) {
  for (int i = 0; i < COMMANDS; i++)
    if (strcmp(commands[i]->name, name) == 0)
      return commands[i];
  return NULL;
}

static int unknown_command(const char *name) {
  const char *names[COMMANDS + 2] = {0};
  for (int i = 0; i < COMMANDS; i++)
    names[i] = commands[i]->name;
  names[COMMANDS] = "help";
  const char *near = cli_nearest(name, names);
  if (near)
    return cli_usage(NULL, "unknown command %s; did you mean \"plumb %s\"?", name, near);
  return cli_usage(NULL, "unknown command %s", name);
}

static void print_overview(FILE *to) {
  fputs("plumb: is this what a healthy circuit produces?\n\nusage: plumb COMMAND [options] FILE...\n\ncommands:\n", to);
  for (int i = 0; i < COMMANDS; i++)
    fprintf(to, "  %-12s%s\n", commands[i]->name, commands[i]->summary);
  fprintf(to, "  %-12s%s\n", "help", "help on a command: plumb help COMMAND");
  fprintf(to, "\n\"plumb COMMAND --help\" tells everything about a command; \"plumb --version\" the version.\n%s",
          exits);
}

static int print_help(const cli_command *command) {
  printf("plumb %s: %s\n\nusage: plumb %s %s\n\n", command->name, command->summary, command->name, command->usage);
  for (const char *line = command->about; *line; line += strspn(line, "\n")) {
    char paragraph[1024];
    const int length = (int)strcspn(line, "\n");
    snprintf(paragraph, sizeof paragraph, "%.*s", length, line);
    cli_wrap(paragraph, 0);
    line += length;
  }
  puts("\noptions:");
  cli_option_help(command->options);
  printf("  --help                this text\n\nexamples:\n%s\n%s", command->examples, exits);
  return cli_output_finish(CLI_OK);
}

static int help(int count, char *const *words) {
  if (count == 0) {
    print_overview(stdout);
    return cli_output_finish(CLI_OK);
  }
  const cli_command *command = find_command(words[0]);
  return command ? print_help(command) : unknown_command(words[0]);
}

/* --help wins over every other mistake on the line, so that it always helps. */
static bool asks_help(int count, char *const *words) {
  for (int i = 0; i < count && strcmp(words[i], "--") != 0; i++)
    if (strcmp(words[i], "--help") == 0 || strcmp(words[i], "-h") == 0)
      return true;
  return false;
}

static int run(const cli_command *command, int count, char *const *words) {
  if (asks_help(count, words))
    return print_help(command);
  cli_arguments arguments;
  int status = cli_arguments_parse(&arguments, command->name, command->options, count, words);
  if (status == 0)
    status = command->run(&arguments);
  cli_arguments_dispose(&arguments);
  return cli_output_finish(status);
}

int main(int count, char **words) {
  if (!cli_output_begin())
    return CLI_IO;
  if (count < 2) {
    print_overview(stderr);
    return CLI_USAGE;
  }
  const char *first = words[1];
  if (strcmp(first, "--help") == 0 || strcmp(first, "-h") == 0 || strcmp(first, "help") == 0)
    return help(count - 2, words + 2);
  if (strcmp(first, "--version") == 0) {
    printf("plumb %s\n", plb_version());
    return cli_output_finish(CLI_OK);
  }
  if (first[0] == '-')
    return cli_usage(NULL, "the command comes first, not %s: plumb COMMAND [options] FILE...", first);
  const cli_command *command = find_command(first);
  return command ? run(command, count - 2, words + 2) : unknown_command(first);
}
