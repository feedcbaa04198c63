#ifndef CLI_KEYS_H
#define CLI_KEYS_H
/**
 * @file  Single keys from the terminal while standard input is something else. The terminal is put back as it was when
 * keys are closed, also after an interrupt: the loop that reads keys asks cli_keys_interrupted().
 */
#include <stdbool.h>

typedef struct cli_keys {
  int fd; /**< to be polled; -1: there is no terminal, or the command runs in the background */
} cli_keys;

/** From now on an interrupt or hang-up is only noted. There may be one at a time. */
void cli_keys_open(cli_keys *keys);
void cli_keys_close(cli_keys *keys);
/** @return the key, 0: none */
char cli_keys_read(cli_keys *keys);
bool cli_keys_interrupted(void);
/** Sound the bell of the terminal, if there is one. */
void cli_keys_bell(const cli_keys *keys);

#endif
