#ifndef PLB_REFERENCE_LIMITS_H
#define PLB_REFERENCE_LIMITS_H
/** @file  Budgets of every document: what is larger is refused before anything is allocated for it. */

enum {
  PLB_DOCUMENT_MOST = 16 << 20,      /**< bytes of a document */
  PLB_TAG_MOST = 16 << 10,           /**< bytes of one tag */
  PLB_TAG_ATTRIBUTES_MOST = 48,      /**< attributes of one tag: the XML library needs quadratic time for them */
  PLB_STRING_MOST = 64 << 10,        /**< bytes of one text, its NUL counted */
  PLB_BLOCK_MOST = 65536,            /**< values in one sample block */
  PLB_CURVE_VALUES_MOST = 1 << 24,   /**< curve values in one reference */
  PLB_CAPTURE_VALUES_MOST = 1 << 25, /**< samples in one capture document, all channels together */
  PLB_CHANNELS_MOST = 64,
  PLB_NOTES_MOST = 256,
  PLB_CONDITIONS_MOST = 64,
  PLB_CAUTIONS_MOST = 64,
  PLB_SPEEDS_MOST = 64,
  PLB_BANDS_MOST = 1024,
  PLB_POINTERS_MOST = 16,
  PLB_READINGS_MOST = 8192,
  PLB_EXEMPLARS_MOST = 10000,
  PLB_SCALES_MOST = 65536
};

#endif
