/*
 * Flux: the potential of a field above a surface with a pattern of wavelength l falls as exp(-2 pi g / l) with the
 * distance g (solution of Laplace's equation); for a pattern of any shape that is a convolution with the Poisson
 * kernel g / (pi (x^2 + g^2)). The pole averages over its own width.
 */
#include "model/wheel.h"
#include "model/physics.h"

enum { REACH = 3 }; /* pitches that the kernel reaches to each side */

void plb_wheel_profile(const plb_wheel_cut *cut, double *profile) {
  for (int tooth = 0; tooth < cut->positions; tooth++) {
    double height = tooth < cut->positions - cut->missing ? 1.0 : 0.0;
    if (tooth == cut->damaged)
      height = 1.0 - cut->bent;
    if (cut->missing > 0 && tooth == cut->positions - cut->missing)
      height += cut->debris;
    for (int k = 0; k < PLB_WHEEL_CELLS; k++)
      profile[tooth * PLB_WHEEL_CELLS + k] = k < PLB_WHEEL_CELLS / 2 ? height : 0.0;
  }
}

/* Mean of the profile over the pole's width, by running sum; a pole is half a pitch wide. */
static void average_over_pole(const double *profile, int cells, int pitch_cells, double *out) {
  const int width = pitch_cells / 4;
  double sum = 0.0;
  for (int k = -width; k < width; k++)
    sum += profile[(k + cells) % cells];
  for (int i = 0; i < cells; i++) {
    sum += profile[(i + width) % cells];
    out[i] = sum / (2.0 * width + 1.0);
    sum -= profile[(i - width + cells) % cells];
  }
}

/* The local air gap sets the width of the kernel, so runout changes height and shape together. */
static void pass_air_gap(const double *profile, int cells, int reach, double gap_cells, double runout, double *flux) {
  for (int i = 0; i < cells; i++) {
    const double g = gap_cells * (1.0 + runout * cos(plb_two_pi * i / cells));
    double sum = 0.0;
    for (int k = -reach; k <= reach; k++) {
      const int at = i + k < 0 ? i + k + cells : i + k >= cells ? i + k - cells : i + k;
      sum += profile[at] / ((double)k * k + g * g);
    }
    flux[i] = sum * g / plb_pi;
  }
}

plb_status plb_wheel_flux(const double *profile, int cells, int pitch_cells, double gap_cells, double runout,
                          double *flux, plb_error *err) {
  double *averaged = plb_calloc((size_t)cells, sizeof *averaged);
  if (!averaged)
    return plb_fail(err, PLB_ENOMEM, "not enough memory to draw a recording; close other programs");
  average_over_pole(profile, cells, pitch_cells, averaged);
  const int reach = REACH * pitch_cells < cells / 2 ? REACH * pitch_cells : cells / 2 - 1;
  pass_air_gap(averaged, cells, reach, gap_cells, runout, flux);
  free(averaged);
  return PLB_OK;
}
