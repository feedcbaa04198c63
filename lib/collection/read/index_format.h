#ifndef PLB_COLLECTION_INDEX_FORMAT_H
#define PLB_COLLECTION_INDEX_FORMAT_H
/** @file  The structures of index.h as they lie in the file. */
#include "collection/read/index.h"

enum { PLB_INDEX_FORMAT = 0x01020001, PLB_SEGMENT_MAGIC = 0x53474d31, PLB_DELTA_ROWS_MOST = 512 };

typedef struct plb_index_header {
  char magic[8];
  uint32_t format, crc;
  uint64_t used, tail, dead;
  char commit[88];
} plb_index_header;

typedef struct plb_segment {
  uint32_t magic, rows;
  uint64_t previous, strings;
  uint32_t crc, reserved;
} plb_segment;

typedef struct plb_packed_row {
  uint64_t data, size;
  uint32_t kind, version, exemplars, text[PLB_ROW_TEXTS];
  uint32_t reserved;
} plb_packed_row;

uint32_t plb_index_header_crc(const plb_index_header *header);
/** Of an open index, for the writer. */
size_t plb_index_delta_rows(const plb_index *index);
const plb_index_header *plb_index_get_header(const plb_index *index);
const char *plb_index_map(const plb_index *index);

#endif
