/**
 * core: what every module may use: failures, memory, growing buffers, files, hashes, seeded random
 * numbers, text and units. It knows nothing about waveforms and includes no other module.
 */
#ifndef PLB_CORE_CORE_H
#define PLB_CORE_CORE_H
#include "core/alloc.h"
#include "core/buffer.h"
#include "core/fail.h"
#include "core/file.h"
#include "core/hash.h"
#include "core/random.h"
#include "core/text.h"
#include "core/unit.h"
#endif
