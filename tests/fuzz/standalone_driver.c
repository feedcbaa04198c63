/*
 * Runs a fuzzing target without a fuzzer, in every test run: each file as it is, then cut, with bytes changed, doubled
 * or dropped. The changes are seeded by the place of the file and its number, so a failure comes again.
 * usage: target CHANGES FILE...
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { MOST_BYTES = 1 << 20 };

/* splitmix64 (Steele, Lea, Flood 2014). */
static uint64_t next_bits(uint64_t *state) {
  uint64_t z = *state += 0x9e3779b97f4a7c15u;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
  return z ^ (z >> 31);
}

static size_t change(uint8_t *data, size_t size, uint64_t *state) {
  static const uint8_t telling[] = {0, '\n', ',', ';', '.', '-', '<', '>', '&', '"', '9', 'e', 0x80, 0xff};
  for (uint64_t left = 1 + next_bits(state) % 4; left > 0 && size > 1; left--) {
    const size_t at = (size_t)(next_bits(state) % size);
    const size_t length = 1 + (size_t)(next_bits(state) % (size - at < 64 ? size - at : 64));
    switch (next_bits(state) % 5) {
    case 0:
      data[at] ^= (uint8_t)(1u << (next_bits(state) % 8));
      break;
    case 1:
      data[at] = telling[next_bits(state) % sizeof telling];
      break;
    case 2:
      size = at + 1;
      break;
    case 3:
      memmove(data + at, data + at + length, size - at - length);
      size -= length;
      break;
    default:
      if (size + length > MOST_BYTES)
        break;
      memmove(data + at + length, data + at, size - at);
      size += length;
    }
  }
  return size;
}

/* The target gets a block of exactly its size, so that reading past the end is seen. */
static void run(const uint8_t *data, size_t size) {
  uint8_t *exact = malloc(size ? size : 1);
  if (!exact)
    abort();
  memcpy(exact, data, size);
  LLVMFuzzerTestOneInput(exact, size);
  free(exact);
}

int main(int count, char **words) {
  static uint8_t original[MOST_BYTES];
  static uint8_t changed[MOST_BYTES];
  const long changes = count > 2 ? strtol(words[1], NULL, 10) : 0;
  if (count < 3) {
    fputs("usage: target CHANGES FILE...\n", stderr);
    return 64;
  }
  for (int i = 2; i < count; i++) {
    FILE *file = fopen(words[i], "rb");
    if (!file) {
      fprintf(stderr, "%s: cannot read it\n", words[i]);
      return 66;
    }
    const size_t size = fread(original, 1, sizeof original, file);
    fclose(file);
    run(original, size);
    uint64_t state = (uint64_t)i;
    for (long n = 0; n < changes; n++) {
      memcpy(changed, original, size);
      run(changed, change(changed, size, &state));
    }
  }
  run(original, 0);
  printf("%d files, %ld changes of each\n", count - 2, changes);
  return 0;
}
