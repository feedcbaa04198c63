#ifndef PLB_CAPTURE_TEXT_HEADER_H
#define PLB_CAPTURE_TEXT_HEADER_H
/** @file  The names and units that the head of a delimited text gives its columns. */
#include "capture/text_layout.h"

typedef struct plb_header {
  char header[PLB_NAME_SIZE];       /**< as the file has it, empty if there is none or it is too long */
  char name[PLB_NAME_SIZE];         /**< without the unit */
  char unit[PLB_UNIT_SIZE];         /**< UCUM, empty if not told */
  char unknown_unit[PLB_UNIT_SIZE]; /**< a unit in the units row that is not known, else empty */
  bool too_long;
} plb_header;

/** Read both header lines of the layout. @param out  [size: layout->columns], zeroed */
void plb_text_headers_read(const plb_text_layout *layout, plb_header *out);

/** "Voltage (V)", "Voltage [V]", "U/V", and for time "time_ms": the name and the unit. */
void plb_text_header_split(plb_header *header);

#endif
