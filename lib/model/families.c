#include "model/families.h"

const plb_model_family *const plb_model_families[] = {
    &plb_crank_inductive_60_2_idle,
    &plb_crank_inductive_60_2_cranking,
    &plb_crank_inductive_60_2_clamped,
    &plb_crank_inductive_36_1_idle,
    &plb_crank_inductive_36_1_cranking,
    &plb_wheel_speed_inductive,
    &plb_transmission_speed_inductive,
    &plb_injector_voltage,
    &plb_injector_current,
    &plb_fuel_pump_current,
    NULL};
