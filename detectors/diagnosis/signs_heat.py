"""Likelihoods: heat against power, offsets when cold. See `table.py` for how to read a row."""

from detectors.diagnosis.table import PHYSICS, Family, Given, Sign
from shared.words import Cause

SHAPE = Family.SHAPE

HEAT = (
    Sign(
        "no-rise",
        SHAPE,
        0.005,
        0.04,
        (
            Given(Cause.HEATER_CIRCUIT, 0.85, "power is asked for and none arrives"),
            Given(Cause.SENSOR_SEATING, 0.40, "heat that does not reach the sensor"),
            Given(Cause.BUS_WIRING, 0.04, "a reading that does not move"),
        ),
    ),
    Sign(
        "cools-at-full-power",
        SHAPE,
        0.02,
        0.05,
        (
            Given(Cause.HEATER_CIRCUIT, 0.70, "no heat at all: the reading falls away"),
            Given(Cause.SENSOR_SEATING, 0.45, "falls at first, then follows the heat again"),
        ),
    ),
    Sign(
        "falls-faster-than-it-cools",
        SHAPE,
        0.02,
        0.05,
        (
            Given(Cause.SENSOR_SEATING, 0.50, "the sensor cools, the block does not", PHYSICS),
            Given(Cause.HEATER_CIRCUIT, 0.03, "a block cools no faster than it can", PHYSICS),
        ),
    ),
    Sign(
        "falls-as-it-cools",
        SHAPE,
        0.05,
        0.10,
        (
            Given(Cause.HEATER_CIRCUIT, 0.75, "no heat at all", PHYSICS),
            Given(Cause.SENSOR_SEATING, 0.20, "a slip that happens to fall as fast"),
        ),
    ),
    Sign(
        "rises-less-than-it-should",
        SHAPE,
        0.02,
        0.06,
        (
            Given(Cause.SENSOR_SEATING, 0.60, "heat arrives late and in part"),
            Given(Cause.HEATER_CIRCUIT, 0.20, "a heater with part of its power"),
        ),
    ),
    Sign(
        "heats-again",
        Family.WHEN,
        0.10,
        0.20,
        (
            Given(Cause.SENSOR_SEATING, 0.70, "the heat arrives, late and in part", PHYSICS),
            Given(Cause.HEATER_CIRCUIT, 0.06, "what is open stays open"),
        ),
    ),
    Sign(
        "never-followed",
        Family.WHEN,
        0.30,
        0.30,
        (
            Given(Cause.HEATER_CIRCUIT, 0.80, "what is open stays open"),
            Given(Cause.SENSOR_SEATING, 0.30, "some heat reaches it in the end"),
        ),
    ),
    Sign(
        "rise-unpowered",
        SHAPE,
        0.005,
        0.05,
        (
            Given(Cause.HEATER_CIRCUIT, 0.75, "a switch that stays on"),
            Given(Cause.LOOSE_CONNECTION, 0.08, "a contact whose ohms climb slowly"),
            Given(Cause.SENSOR_FAILED, 0.08, "an element that drifts up"),
        ),
    ),
    Sign(
        "sags-with-power",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.SENSOR_SEATING, 0.80, "more power for the same reading: heat misses it"),
            Given(Cause.HEATER_CIRCUIT, 0.12, "a heater that weakens"),
        ),
    ),
    Sign(
        "drifts",
        SHAPE,
        0.02,
        0.10,
        (
            Given(Cause.SENSOR_FAILED, 0.30, "an element that ages"),
            Given(Cause.SENSOR_SEATING, 0.30, "a sensor that works its way out"),
            Given(Cause.LOOSE_CONNECTION, 0.08, "a contact that corrodes"),
            Given(Cause.LEAD_RESISTANCE, 0.10, "leads that warm up"),
        ),
    ),
)

OFFSETS = (
    Sign(
        "offset-fits-leads",
        SHAPE,
        0.01,
        0.03,
        (
            Given(Cause.LEAD_RESISTANCE, 0.80, "the size is that of the leads", PHYSICS),
            Given(Cause.WIRE_COUNT_SETTING, 0.10, "other straps give a like size", PHYSICS),
            Given(Cause.LOOSE_CONNECTION, 0.06, "a contact with some ohms"),
        ),
    ),
    Sign(
        "offset-fits-straps",
        SHAPE,
        0.01,
        0.03,
        (
            Given(Cause.WIRE_COUNT_SETTING, 0.80, "the size is that of other straps", PHYSICS),
            Given(Cause.LEAD_RESISTANCE, 0.20, "longer leads give a like size", PHYSICS),
            Given(Cause.LOOSE_CONNECTION, 0.06, "a contact with some ohms"),
        ),
    ),
    Sign(
        "offset-fits-reference",
        SHAPE,
        0.005,
        0.02,
        (
            Given(
                Cause.REFERENCE_SETTING, 0.85, "the ratio is that of two usual references", PHYSICS
            ),
            Given(Cause.SENSOR_FAILED, 0.03, "an element off by that much"),
            Given(Cause.LEAD_RESISTANCE, 0.25, "leads meet one of many ratios by chance"),
            Given(Cause.WIRE_COUNT_SETTING, 0.15, "leads meet one of many ratios by chance"),
        ),
    ),
    Sign(
        "offset-fits-curve",
        SHAPE,
        0.01,
        0.03,
        (Given(Cause.CURVE_SETTING, 0.60, "the size is that of another curve", PHYSICS),),
    ),
    Sign(
        "offset-beyond-leads",
        SHAPE,
        0.10,
        0.20,
        (
            Given(Cause.REFERENCE_SETTING, 0.60, "it scales all ohms, so it is off by many"),
            Given(Cause.CURVE_SETTING, 0.30, "another element altogether"),
            Given(Cause.SENSOR_FAILED, 0.35, "an element that has changed for good"),
            Given(Cause.WIRE_COUNT_SETTING, 0.20, "straps that leave an input half open"),
            Given(Cause.LEAD_RESISTANCE, 0.05, "leads have a few ohms at most", PHYSICS),
        ),
    ),
    Sign(
        "offset-high",
        SHAPE,
        0.03,
        0.10,
        (
            Given(Cause.LEAD_RESISTANCE, 0.45, "leads can only add", PHYSICS),
            Given(Cause.LOOSE_CONNECTION, 0.05, "a bad contact is seldom steady"),
            Given(Cause.WIRE_COUNT_SETTING, 0.25, "straps for fewer wires leave leads in", PHYSICS),
            Given(Cause.REFERENCE_SETTING, 0.25, "a reference taken too large", PHYSICS),
            Given(Cause.SENSOR_FAILED, 0.15, "an element that has changed"),
        ),
    ),
    Sign(
        "offset-low",
        SHAPE,
        0.03,
        0.10,
        (
            Given(Cause.REFERENCE_SETTING, 0.50, "a reference taken too small", PHYSICS),
            Given(Cause.WIRE_COUNT_SETTING, 0.20, "straps that subtract too much", PHYSICS),
            Given(Cause.SENSOR_FAILED, 0.25, "damp or a shunt takes ohms away"),
            Given(Cause.CURVE_SETTING, 0.10, "another curve", PHYSICS),
        ),
    ),
)

HEAT_SIGNS = (*HEAT, *OFFSETS)
"""Facts on heat and on what a cold sensor reads."""
