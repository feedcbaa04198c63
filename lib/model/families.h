#ifndef PLB_MODEL_FAMILIES_H
#define PLB_MODEL_FAMILIES_H
/** @file  The table of families. A new one is a file, a line here and a line in families.c. */
#include "model/model.h"

/** All families, ends with NULL. */
extern const plb_model_family *const plb_model_families[];

extern const plb_model_family plb_crank_inductive_60_2_idle, plb_crank_inductive_60_2_cranking,
    plb_crank_inductive_60_2_clamped;
extern const plb_model_family plb_crank_inductive_36_1_idle, plb_crank_inductive_36_1_cranking;
extern const plb_model_family plb_wheel_speed_inductive, plb_transmission_speed_inductive;
extern const plb_model_family plb_injector_voltage, plb_injector_current;
extern const plb_model_family plb_fuel_pump_current;
extern const plb_model_family plb_crank_hall_idle, plb_crank_hall_cranking, plb_cam_hall, plb_cam_crank;
extern const plb_model_family plb_starter_current;
extern const plb_model_family plb_battery_cranking;
extern const plb_model_family plb_can_pair;
extern const plb_model_family plb_coolant_warm_up;
extern const plb_model_family plb_alternator_ripple;
extern const plb_model_family plb_coil_primary_voltage;
extern const plb_model_family plb_coil_primary_current;
extern const plb_model_family plb_coil_secondary;
extern const plb_model_family plb_coil_command;
extern const plb_model_family plb_oxygen_front;
extern const plb_model_family plb_oxygen_rear;
extern const plb_model_family plb_oxygen_wide;
extern const plb_model_family plb_manifold_pressure_idle;
extern const plb_model_family plb_manifold_pressure_cranking;
extern const plb_model_family plb_air_mass_voltage;
extern const plb_model_family plb_rail_pressure;
extern const plb_model_family plb_boost_pressure;
extern const plb_model_family plb_egr_position;
extern const plb_model_family plb_cylinder_pressure_cranking;
extern const plb_model_family plb_cylinder_pressure_running;
extern const plb_model_family plb_throttle_dual;
extern const plb_model_family plb_pedal_dual;
extern const plb_model_family plb_injector_peak_hold;
extern const plb_model_family plb_injector_boosted;
extern const plb_model_family plb_pump_valve;
extern const plb_model_family plb_pwm_valve;
extern const plb_model_family plb_cam_phaser_valve;
extern const plb_model_family plb_oxygen_heater;
extern const plb_model_family plb_fan_command;
extern const plb_model_family plb_lin_bus;
extern const plb_model_family plb_sent;
extern const plb_model_family plb_current_signal;
extern const plb_model_family plb_wheel_speed_current;
extern const plb_model_family plb_air_mass_frequency;
extern const plb_model_family plb_knock_idle;
extern const plb_model_family plb_sensor_supply;
extern const plb_model_family plb_supply_drop;
extern const plb_model_family plb_ground_drop;
extern const plb_model_family plb_charging_voltage;
extern const plb_model_family plb_parasitic_draw;
extern const plb_model_family plb_glow_current;
extern const plb_model_family plb_relay;
extern const plb_model_family plb_stepper;
extern const plb_model_family plb_blower_current;
#endif
