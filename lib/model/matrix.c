#include "model/matrix.h"
#include "model/meter.h"

/* needs 0: every family can have it */
static const struct {
  const char *name;
  unsigned needs;
  const char *otherwise;
} kinds[PLB_FAULT_KINDS] = {
    [PLB_FAULT_TURNS] = {"shorted turns", PLB_HAS_WINDING, "no winding"},
    [PLB_FAULT_JOINT] = {"bad joint", 0, NULL},
    [PLB_FAULT_GROUND] = {"poor ground", PLB_HAS_GROUND, "signal between two wires, no ground in it"},
    [PLB_FAULT_SUPPLY] = {"weak supply", PLB_HAS_SUPPLY, "needs no supply, or is itself one"},
    [PLB_FAULT_GAP] = {"air gap", PLB_HAS_GAP, "no magnetic gap"},
    [PLB_FAULT_TOOTH] = {"tooth", PLB_HAS_TEETH, "no teeth or poles before a sensor"},
    [PLB_FAULT_RUNOUT] = {"runout", PLB_HAS_TEETH, "no wheel before a sensor"},
    [PLB_FAULT_REVERSED] = {"leads crossed", PLB_HAS_POLARITY,
                            "connector or circuit gives crossed wires no such effect"},
    [PLB_FAULT_PULLUP] = {"pull-up", PLB_HAS_PULLUP, "no pull-up in the circuit"},
    [PLB_FAULT_DRIVER] = {"driver", PLB_HAS_DRIVER, "no transistor switches or drives it"},
    [PLB_FAULT_STUCK] = {"stuck part", PLB_HAS_MOTION, "nothing moves, or its motion does not show"},
    [PLB_FAULT_ODD_ONE] = {"one of several", PLB_HAS_LIKE_PARTS, "no like parts side by side"},
    [PLB_FAULT_SENSOR] = {"lazy or biased", PLB_HAS_SENSING, "no quantity is measured"},
    [PLB_FAULT_TRACK] = {"worn contact", PLB_HAS_TRACK, "no sliding contact"},
    [PLB_FAULT_TERMINATOR] = {"bus load", PLB_HAS_BUS, "no bus"},
    [PLB_FAULT_SHORT] = {"short or leak", 0, NULL},
    [PLB_FAULT_INTERFERENCE] = {"interference", 0, NULL},
    [PLB_FAULT_INTERMITTENT] = {"intermittent", 0, NULL},
    [PLB_FAULT_PROTOCOL] = {"wrong coding", PLB_HAS_CODE, "no code, and no time set by a control unit"},
    [PLB_MISTAKE_INVERTED] = {"lead inverted", 0, "no tip and clip that could be swapped"},
    [PLB_MISTAKE_FACTOR] = {"factor forgotten", 0, "uncalibrated: there is no factor"},
    [PLB_MISTAKE_ZERO] = {"clamp zero", 0, "no clamp"},
    [PLB_MISTAKE_DIRECTION] = {"clamp direction", 0, "no clamp"},
    [PLB_MISTAKE_AC] = {"AC coupled", 0, "a capacitive pick-up passes no steady level anyway"},
    [PLB_MISTAKE_ALIAS] = {"alias", 0, NULL},
    [PLB_MISTAKE_FLOATING] = {"floating", 0, "no tip that could hang free"},
    [PLB_MISTAKE_HUM] = {"hum", 0, "no loop through a ground clip"},
    [PLB_MISTAKE_PICK_UP] = {"pick-up", 0, NULL},
    [PLB_MISTAKE_FAR_GROUND] = {"far ground", 0, "no ground clip"},
};

const char *plb_matrix_kind_name(plb_fault_kind kind) { return kinds[kind].name; }

const char *plb_matrix_place_name(plb_fault_place place) {
  static const char *const names[] = {"component", "wiring", "supply or ground", "measuring"};
  return names[place];
}

const plb_model_fault *plb_matrix_fault(const plb_model_family *family, plb_fault_kind kind, size_t from) {
  size_t seen = 0;
  for (size_t i = 0; i < plb_model_fault_count(family); i++) {
    const plb_model_fault *fault = plb_model_fault_at(family, i);
    if (fault->kind == kind && seen++ == from)
      return fault;
  }
  return NULL;
}

const char *plb_matrix_reason(const plb_model_family *family, plb_fault_kind kind) {
  for (size_t i = 0; i < family->reasons; i++)
    if (family->reason[i].kind == kind)
      return family->reason[i].text;
  for (size_t i = 0; i < family->unseens && !plb_matrix_fault(family, kind, 0); i++)
    if (family->unseen[i].fault.kind == kind)
      return family->unseen[i].why;
  if (kind >= PLB_MISTAKE_INVERTED)
    return plb_mistake_possible(family, kind) ? NULL : kinds[kind].otherwise;
  return kinds[kind].needs && !(family->has & kinds[kind].needs) ? kinds[kind].otherwise : NULL;
}
