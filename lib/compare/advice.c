#include "compare/explain.h"
#include <string.h>

/*
 * What to check first, the cheapest check first; common practice of the trade, never a diagnosis. The most exact row that fits wins:
 * rows are tried in order, NULL fits everything. A reference's own pointers come before this table.
 */
static const struct {
  plb_finding_kind kind;
  const char *type;      /* beginning of the sensor type */
  const char *direction;
  const char *what;      /* band or reading; in angle brackets its unit */
  plb_pattern pattern;   /* PLB_PATTERN_NONE: any */
  const char *check[PLB_CHECK_MOST];
} advice[] = {
    /* the heater beside the sensor is a load like others, mixture does not come into it */
    {PLB_FINDING_STRUCTURAL, "oxygen-heater", NULL, NULL, PLB_PATTERN_NONE,
     {"supply and ground of the heater under load", "the heater's resistance, cold", "what commands it: control unit, its driver"}},
    {PLB_FINDING_READING, "oxygen-heater", NULL, NULL, PLB_PATTERN_NONE,
     {"supply and ground of the heater under load", "the heater's resistance, cold", "what commands it: control unit, its driver"}},
    {PLB_FINDING_BAND, "oxygen-heater", NULL, NULL, PLB_PATTERN_NONE,
     {"supply and ground of the heater under load", "the heater's resistance, cold", "what commands it: control unit, its driver"}},
    {PLB_FINDING_STRUCTURAL, "oxygen", NULL, NULL, PLB_PATTERN_NONE,
     {"the mixture: enrich and look whether the sensor answers", "leaks of exhaust and intake", "heater and ground of the sensor"}},
    {PLB_FINDING_READING, "oxygen", NULL, NULL, PLB_PATTERN_NONE,
     {"the mixture: enrich and look whether the sensor answers", "leaks of exhaust and intake", "heater and ground of the sensor"}},
    {PLB_FINDING_BAND, "oxygen", NULL, NULL, PLB_PATTERN_NONE,
     {"the mixture: enrich and look whether the sensor answers", "leaks of exhaust and intake", "heater and ground of the sensor"}},
    {PLB_FINDING_STRUCTURAL, NULL, "missing", "signal", PLB_PATTERN_NONE,
     {"supply, ground and pull-up at the connector", "the wire from end to end", "the component"}},
    {PLB_FINDING_STRUCTURAL, NULL, "high", "cycle rate", PLB_PATTERN_NONE,
     {"ground clip and leads (routed away from ignition and motors)", "connector and harness while moving them: contact lost within the pulse",
      "the driver, then the component"}},
    {PLB_FINDING_STRUCTURAL, NULL, "low", "cycle rate", PLB_PATTERN_NONE,
     {"connector and harness (while moving them)", "shorts to ground, to supply and between the wires", "what commands this signal"}},
    {PLB_FINDING_STRUCTURAL, "relay", "high", "excursion", PLB_PATTERN_NONE,
     {"the diode or resistor across the coil, which takes this spike", "its connections", "lead routing away from ignition and motors"}},
    {PLB_FINDING_STRUCTURAL, "voltage-drop", "high", "excursion", PLB_PATTERN_NONE,
     {"the connections along this path while moving them", "the current in it against the known-good", ""}},
    {PLB_FINDING_STRUCTURAL, NULL, "high", "excursion", PLB_PATTERN_NONE,
     {"connector and harness while moving them: the circuit opens for a moment", "lead routing away from ignition and motors", "the component"}},
    {PLB_FINDING_STRUCTURAL, NULL, NULL, "excursion", PLB_PATTERN_NONE,
     {"connector and harness while moving them: the circuit opens for a moment", "supply and ground under load", "the component"}},
    {PLB_FINDING_STRUCTURAL, "fuel-pump", NULL, NULL, PLB_RECURRING,
     {"the pump: one bar of its commutator or the winding at it", "the ripple again at another supply voltage", ""}},
    {PLB_FINDING_STRUCTURAL, "alternator", NULL, NULL, PLB_RECURRING,
     {"the alternator's diodes: one does not conduct", "the connections of its phases", ""}},
    {PLB_FINDING_STRUCTURAL, "blower", NULL, NULL, PLB_RECURRING,
     {"the motor: one bar of its commutator or the winding at it", "the ripple again at another speed", ""}},
    {PLB_FINDING_STRUCTURAL, "manifold", NULL, NULL, PLB_RECURRING,
     {"compression and valves of one cylinder", "ignition and injection of that cylinder", "leaks near its intake"}},
    {PLB_FINDING_STRUCTURAL, "starter", NULL, NULL, PLB_RECURRING,
     {"the compression of one cylinder", "valve clearance of that cylinder", ""}},
    {PLB_FINDING_STRUCTURAL, "wheel-speed", "missing", NULL, PLB_LASTING,
     {"that tooth on the wheel (bent, chipped, filled with debris)", "the sensor's seat and air gap", "the ring's fit"}},
    {PLB_FINDING_STRUCTURAL, NULL, NULL, "cycle", PLB_RECURRING,
     {"the one of the like parts that comes round every time (bar, cylinder, diode)", "its connections", "the component"}},
    {PLB_FINDING_STRUCTURAL, "crank", "missing", NULL, PLB_LASTING,
     {"that tooth on the wheel (bent, chipped, filled with debris)", "the sensor's seat and air gap", "the wheel's fit on the shaft"}},
    {PLB_FINDING_STRUCTURAL, "crank", "missing", NULL, PLB_PATTERN_NONE,
     {"connector and harness while moving them", "the sensor's seat and air gap", "run-out of the wheel"}},
    {PLB_FINDING_STRUCTURAL, "crank", "surplus", NULL, PLB_PATTERN_NONE,
     {"the routing of lead and harness away from ignition", "the sensor's ground and screen", "damage to the wheel"}},
    {PLB_FINDING_STRUCTURAL, NULL, "missing", NULL, PLB_LASTING,
     {"that the lead is on the right circuit", "the part that makes this pulse", "its supply and ground"}},
    {PLB_FINDING_STRUCTURAL, NULL, "missing", NULL, PLB_PATTERN_NONE,
     {"connector and harness while moving them", "supply and ground under load", "the component"}},
    {PLB_FINDING_STRUCTURAL, NULL, "surplus", NULL, PLB_PATTERN_NONE,
     {"lead routing away from ignition and motors", "the scope ground", "contacts that bounce"}},
    {PLB_FINDING_STRUCTURAL, NULL, "shape", NULL, PLB_PATTERN_NONE,
     {"that this is the right circuit and channel", "speed and load against the known-good", "the component"}},
    {PLB_FINDING_READING, NULL, NULL, "timing", PLB_PATTERN_NONE,
     {"hot idle or cranking, where variable timing is parked", "the marks of belt or chain", "sensor wheels on their shafts"}},
    {PLB_FINDING_READING, "can", "high", NULL, PLB_PATTERN_NONE,
     {"the termination: about 60 ohm between the two wires, supply off", "the number of terminators in the bus", "the node that was fitted last"}},
    {PLB_FINDING_READING, "can", "low", NULL, PLB_PATTERN_NONE,
     {"the termination: about 60 ohm between the two wires, supply off", "the bus wires' connections while moving them", "the nodes, unplugged one by one"}},
    {PLB_FINDING_BAND, "can", NULL, NULL, PLB_INTERMITTENT,
     {"connector and harness while moving them", "the termination: about 60 ohm between the two wires, supply off", "the nodes, unplugged one by one"}},
    {PLB_FINDING_BAND, "can", NULL, NULL, PLB_PATTERN_NONE,
     {"the termination: about 60 ohm between the two wires, supply off", "shorts to ground, supply and between the wires", "the nodes, unplugged one by one"}},
    {PLB_FINDING_READING, NULL, NULL, "<A>", PLB_PATTERN_NONE,
     {"the clamp's zero with nothing in its jaws", "what else draws current in this circuit", "supply and ground under load"}},
    {PLB_FINDING_READING, NULL, NULL, "offset", PLB_PATTERN_NONE,
     {"where the ground clip sits, and the channel's zero with the lead shorted", "the circuit's ground under load", "bias and supply"}},
    {PLB_FINDING_READING, "crank", NULL, "spacing", PLB_PATTERN_NONE,
     {"speed against the known-good", "that tooth and the run-out of the wheel", "the sensor's mounting"}},
    {PLB_FINDING_READING, NULL, NULL, "irregularity", PLB_PATTERN_NONE,
     {"steady speed while capturing", "connector and harness while moving them", "the component"}},
    {PLB_FINDING_READING, NULL, "high", "<s>", PLB_PATTERN_NONE,
     {"load, temperature and speed (against the known-good)", "what commands this time: control unit, sensors it goes by",
      "supply and ground under load"}},
    {PLB_FINDING_READING, NULL, "low", "<s>", PLB_PATTERN_NONE,
     {"load, temperature and speed (against the known-good)", "what commands this time: control unit, sensors it goes by",
      "connections of the circuit while moving them"}},
    {PLB_FINDING_READING, NULL, NULL, "<Hz>", PLB_PATTERN_NONE,
     {"speed and load against the known-good", "the time base of the recorder", "the part that sets the frequency"}},
    {PLB_FINDING_READING, "crank-hall", NULL, "amplitude", PLB_PATTERN_NONE,
     {"supply, ground and pull-up of the sensor under load", "what else loads the signal wire", "the sensor"}},
    {PLB_FINDING_READING, "crank", "low", NULL, PLB_PATTERN_NONE,
     {"the air gap and debris on the sensor tip", "coil resistance and its connections", "what else loads the signal wires"}},
    {PLB_FINDING_READING, "crank", "high", NULL, PLB_PATTERN_NONE,
     {"engine speed against the known-good", "the air gap and the part fitted", "the probe factor"}},
    {PLB_FINDING_READING, NULL, "low", NULL, PLB_PATTERN_NONE,
     {"supply and ground under load", "connections, then the component", "the probe factor"}},
    {PLB_FINDING_READING, NULL, "high", NULL, PLB_PATTERN_NONE,
     {"the ground clip and the circuit's ground", "the supply", "the probe factor and clamp zero"}},
    {PLB_FINDING_READING, NULL, "late", NULL, PLB_PATTERN_NONE, {"speed and temperature against the known-good", "mechanical position", ""}},
    {PLB_FINDING_READING, NULL, "early", NULL, PLB_PATTERN_NONE, {"speed and temperature against the known-good", "mechanical position", ""}},
    {PLB_FINDING_READING, "crank", "shape", NULL, PLB_PATTERN_NONE,
     {"what the other findings name", "the sensor's seat and air gap", "the wheel"}},
    {PLB_FINDING_READING, NULL, NULL, NULL, PLB_PATTERN_NONE, {"speed and load against the known-good", "the connection", "the component"}},
    {PLB_FINDING_BAND, "starter", NULL, NULL, PLB_RECURRING,
     {"the compression of one cylinder", "valve clearance of that cylinder", ""}},
    {PLB_FINDING_BAND, "fuel-pump", NULL, NULL, PLB_RECURRING,
     {"the pump: one bar of its commutator or the winding at it", "the ripple again at another supply voltage", ""}},
    {PLB_FINDING_BAND, NULL, NULL, NULL, PLB_RECURRING,
     {"the part that comes round each time (bar, cylinder, diode, tooth)", "its connections", "the component"}},
    {PLB_FINDING_BAND, NULL, "noisy", NULL, PLB_PATTERN_NONE,
     {"the ground clip and lead routing", "screen and ground of the circuit", "connector while moving the harness"}},
    {PLB_FINDING_BAND, NULL, "low", NULL, PLB_INTERMITTENT,
     {"connector and harness while moving them", "supply and ground under load", "the component"}},
    {PLB_FINDING_BAND, NULL, "high", NULL, PLB_INTERMITTENT,
     {"connector and harness while moving them", "the ground under load", "the component"}},
    {PLB_FINDING_BAND, "crank-hall", NULL, NULL, PLB_PATTERN_NONE,
     {"supply, ground and pull-up of the sensor under load", "the sensor's seat and air gap", "what else loads the signal wire"}},
    {PLB_FINDING_BAND, "crank", NULL, NULL, PLB_PATTERN_NONE,
     {"the sensor's seat and air gap", "debris on the sensor tip, damage to the wheel", "load on the circuit: connections, screen, coil"}},
    {PLB_FINDING_BAND, NULL, "late", NULL, PLB_PATTERN_NONE,
     {"speed, load and temperature against the known-good", "supply and ground under load", "the component"}},
    {PLB_FINDING_BAND, NULL, "early", NULL, PLB_PATTERN_NONE,
     {"speed, load and temperature against the known-good", "supply and ground under load", "the component"}},
    {PLB_FINDING_BAND, NULL, NULL, NULL, PLB_PATTERN_NONE,
     {"supply and ground under load", "connections of the circuit", "the component"}},
    {PLB_FINDING_FREQUENCY, "alternator", NULL, NULL, PLB_PATTERN_NONE,
     {"load on the alternator as for the good captures", "belt, connections and battery", "rectifier and windings"}},
    {PLB_FINDING_FREQUENCY, NULL, "missing", NULL, PLB_PATTERN_NONE,
     {"that the circuit is loaded and runs as for the good captures", "the part that makes this ripple", "its connections"}},
    {PLB_FINDING_FREQUENCY, NULL, "low", NULL, PLB_PATTERN_NONE,
     {"that the circuit is loaded and runs as for the good captures", "the part that makes this ripple", "its connections"}},
    {PLB_FINDING_FREQUENCY, NULL, NULL, NULL, PLB_PATTERN_NONE,
     {"the ground clip and lead routing", "screen and ground of the circuit", "the component"}},
};

void plb_advise(plb_finding *finding, const plb_reference *reference, const plb_band *band) {
  size_t used = 0;
  char unit[PLB_UNIT_SIZE + 3];
  plb_text_print(unit, sizeof unit, "<%s>", finding->unit);
  for (size_t p = 0; band != NULL && p < band->pointers && used < PLB_CHECK_MOST; p++) {
    if (strcmp(band->pointer[p].direction, finding->direction) == 0 && band->pointer[p].text != NULL) {
      used += plb_text_copy(finding->check_first[used], PLB_TEXT_SIZE, band->pointer[p].text);
    }
  }
  for (size_t k = 0; used == 0 && k < sizeof advice / sizeof *advice; k++) {
    const bool fits = advice[k].kind == finding->kind &&
                      (advice[k].type == NULL || strncmp(reference->type, advice[k].type, strlen(advice[k].type)) == 0) &&
                      (advice[k].direction == NULL || strcmp(advice[k].direction, finding->direction) == 0) &&
                      (advice[k].what == NULL || strcmp(advice[k].what, finding->band) == 0 || strcmp(advice[k].what, unit) == 0) &&
                      (advice[k].pattern == PLB_PATTERN_NONE || advice[k].pattern == finding->pattern);
    for (size_t c = 0; fits && c < PLB_CHECK_MOST && advice[k].check[c] != NULL; c++) {
      used += advice[k].check[c][0] != '\0' && plb_text_copy(finding->check_first[used], PLB_TEXT_SIZE, advice[k].check[c]);
    }
  }
}

void plb_check_before(plb_finding *f, const char *text) {
  for (size_t k = PLB_CHECK_MOST - 1; k > 0; k--) {
    memcpy(f->check_first[k], f->check_first[k - 1], PLB_TEXT_SIZE);
  }
  plb_text_copy(f->check_first[0], PLB_TEXT_SIZE, text);
}
