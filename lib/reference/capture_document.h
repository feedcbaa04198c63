#ifndef PLB_REFERENCE_CAPTURE_DOCUMENT_H
#define PLB_REFERENCE_CAPTURE_DOCUMENT_H
/** @file  A capture as a document of its own: evidence that is kept with the references learned from it, bit for bit.
   */
#include "capture/capture.h"
#include "reference/model.h"

/** What is known about a capture beyond its samples. Zero-initialise; free what a reader filled with
   plb_capture_about_dispose(). */
typedef struct plb_capture_about {
  char id[33];
  plb_string date;            /**< 2024-05-31 or 2024-05-31T08:09:10Z */
  plb_string place;           /**< where it was measured: at the component, at the control unit ... */
  char source[PLB_TEXT_SIZE]; /**< name of the file it came from, without folders */
  plb_condition *condition;   /**< `stated` is true of all */
  size_t conditions;
} plb_capture_about;
void plb_capture_about_dispose(plb_capture_about *about);

/**
 * Serialise; validates against schema/capture.xsd and re-reads before returning.
 * @param about  may be NULL; its id and, where empty, source are not read
 * @param id_out  [size: 33] the id, may be NULL
 */
PLB_CHECKED plb_status plb_capture_write_buffer(const plb_capture *capture, const plb_capture_about *about,
                                                plb_buffer *out, char *id_out, plb_error *err);

/** Like plb_capture_read_document(), with what else the document says. @param about  may be NULL */
PLB_CHECKED plb_status plb_capture_read_about(plb_capture **out, plb_capture_about *about, const void *data,
                                              size_t size, const char *name, plb_error *err);

#endif
