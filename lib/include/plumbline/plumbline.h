#ifndef PLB_PLUMBLINE_H
#define PLB_PLUMBLINE_H
/** @file  Everything: known-good waveforms, and whether a capture matches them. */
#include <plumbline/capture.h>
#include <plumbline/collection.h>
#include <plumbline/compare.h>
#include <plumbline/core.h>
#include <plumbline/cycle.h>
#include <plumbline/error.h>
#include <plumbline/event.h>
#include <plumbline/learn.h>
#include <plumbline/peer.h>
#include <plumbline/reading.h>
#include <plumbline/reference.h>
#include <plumbline/report.h>
#include <plumbline/types.h>
#include <plumbline/version.h>
#endif
