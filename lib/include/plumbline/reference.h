#ifndef PLB_REFERENCE_H
#define PLB_REFERENCE_H
/** @file  An annotated known-good waveform of one sensor type under stated conditions. Not changed after reading; shareable between threads. */
#include <plumbline/capture.h>
#include <plumbline/cycle.h>
#include <plumbline/error.h>
PLB_BEGIN_DECLS

typedef struct plb_reference plb_reference;

/** Where the good range comes from; every verdict shows it. */
typedef enum plb_provenance { PLB_MEASURED, PLB_MODELLED, PLB_STANDARD } plb_provenance;

/** @return PLB_OK, PLB_ENOINPUT, PLB_EDATA (not a reference, malformed, not valid, a count or CRC that does not fit; with path and line), PLB_EIO */
PLB_API PLB_CHECKED plb_status plb_reference_read(plb_reference **out, const char *path, plb_error *err);
PLB_API PLB_CHECKED plb_status plb_reference_read_memory(plb_reference **out, const void *data, size_t size, const char *name, plb_error *err);
/** Write whole or not at all; an existing file is replaced. */
PLB_API PLB_CHECKED plb_status plb_reference_write(plb_reference *reference, const char *path, plb_error *err);
PLB_API void plb_reference_free(plb_reference *reference);

PLB_API const char *plb_reference_id(const plb_reference *reference); /**< 32 hexadecimal digits, the same for the same content */
PLB_API const char *plb_reference_type(const plb_reference *reference); /**< slug: "crank-inductive" */
PLB_API const char *plb_reference_name(const plb_reference *reference); /**< type/name */
PLB_API unsigned plb_reference_version(const plb_reference *reference); /**< 0: a file of its own */
PLB_API const char *plb_reference_title(const plb_reference *reference); /**< one line for people */
PLB_API const char *plb_reference_sha256(const plb_reference *reference); /**< of the bytes of the document */
PLB_API plb_provenance plb_reference_provenance(const plb_reference *reference); /**< every verdict shows it */
PLB_API const char *plb_provenance_name(plb_provenance provenance); /**< "measured", "modelled", "standard" */
PLB_API size_t plb_reference_exemplars(const plb_reference *reference); /**< how many good captures it was learned from */
/** File name of a good capture, and the SHA-256 of the file. @param exemplar  < plb_reference_exemplars() */
PLB_API const char *plb_reference_exemplar_name(const plb_reference *reference, size_t exemplar);
PLB_API const char *plb_reference_exemplar_sha256(const plb_reference *reference, size_t exemplar);
PLB_API size_t plb_reference_channels(const plb_reference *reference); /**< how many there are */
PLB_API const char *plb_reference_role(const plb_reference *reference, size_t channel); /**< borrowed */
PLB_API const char *plb_reference_unit(const plb_reference *reference, size_t channel); /**< UCUM, borrowed */

/** Write a capture as our own document (schema/capture.xsd), losslessly: decimal text comes back as the same numbers. */
PLB_API PLB_CHECKED plb_status plb_capture_write_document(const plb_capture *capture, const char *path, plb_error *err);
/** Read it back. */
PLB_API PLB_CHECKED plb_status plb_capture_read_document(plb_capture **out, const void *data, size_t size, const char *name, plb_error *err);
/** Any recording: whatever plb_capture_read() reads, and our own capture documents too. @return as plb_capture_read() */
PLB_API PLB_CHECKED plb_status plb_capture_open(plb_capture **out, const char *path, const plb_read_options *options, plb_error *err);

PLB_END_DECLS
#endif
