"""The input filter: capacitance across the inputs against the resistance that feeds it.

The bias drives current through the reference, the leads and the element. Seen from
the capacitor across the inputs the bias is a short, so (L: one lead and its contact)

    two wires    R_s = R_ref ∥ (R + 2 L)
    three wires  R_s = L + (R_ref + L) ∥ (R + L)
    four wires   R_s = 2 L + (R_ref + 2 L) ∥ R

and the filter is of first order, with twice the resistor of a sensing line added where there
is one: corner 1/(2π R_s C), settling e^(−t/(R_s C)).
"""

import math
from dataclasses import dataclass

from shared.chain import Chain
from shared.leads import path_ohm

CHOPPER_HZ = (20e3, 50e3, 100e3)
"""Where motor drivers and switched heaters chop: common practice, 20 to 100 kHz."""


def parallel_ohm(one_ohm: float, other_ohm: float) -> float:
    """Two resistances in parallel, Ω."""
    total = one_ohm + other_ohm
    return one_ohm * other_ohm / total if total > 0.0 else 0.0


def source_ohm(chain: Chain, element_ohm: float, copper_c: float = 25.0) -> float:
    """Resistance that the capacitor across the inputs sees, Ω."""
    lead = path_ohm(chain, copper_c)
    reference = chain.reference_ohm
    series = 2.0 * chain.series_ohm
    wires = min(chain.strapped, chain.wires)
    if wires == 2:
        return series + parallel_ohm(reference, element_ohm + 2.0 * lead)
    if wires == 3:
        return series + lead + parallel_ohm(reference + lead, element_ohm + lead)
    return series + 2.0 * lead + parallel_ohm(reference + 2.0 * lead, element_ohm)


def time_constant_s(resistance_ohm: float, capacitance_f: float) -> float:
    """RC, s."""
    return resistance_ohm * capacitance_f


def corner_hz(resistance_ohm: float, capacitance_f: float) -> float:
    """Frequency at which a first-order filter passes 1/√2, Hz; inf without capacitance."""
    tau_s = resistance_ohm * capacitance_f
    return 1.0 / (2.0 * math.pi * tau_s) if tau_s > 0.0 else math.inf


def attenuation(frequency_hz: float, corner: float) -> float:
    """Part of the amplitude at a frequency that a first-order filter lets through, 0…1."""
    return 1.0 / math.sqrt(1.0 + (frequency_hz / corner) ** 2)


def corner_of(frequency_hz: float, passes: float) -> float:
    """Corner of a first-order filter that lets this part of a frequency through, Hz."""
    return frequency_hz / math.sqrt(1.0 / passes**2 - 1.0)


def averaging_attenuation(frequency_hz: float, window_s: float) -> float:
    """Part of the amplitude at a frequency that an average over a window lets through.

    Zero where the window holds whole periods, which is how a conversion of 20 ms is
    blind to 50 Hz.
    """
    turns = frequency_hz * window_s
    return abs(math.sin(math.pi * turns) / (math.pi * turns)) if turns > 0.0 else 1.0


def averages_attenuation(frequency_hz: float, period_s: float, count: int) -> float:
    """Part of the amplitude that a mean of `count` samples, a period apart, lets through."""
    turn = math.pi * frequency_hz * period_s
    below = count * math.sin(turn)
    # At a whole number of turns every sample meets the same phase.
    return abs(math.sin(count * turn) / below) if abs(below) > 1e-9 else 1.0


MAINS_HZ = (50.0, 60.0)
MAINS_SPREAD_HZ = 0.5
"""How far a grid strays: common practice takes ± 1 % as the widest in normal operation."""
_PARTS = 41


def mains_passes(
    conversion_s: float, period_s: float, averages: int, corner: float
) -> tuple[float, ...]:
    """Part of the amplitude of mains at 50 and 60 Hz that reaches a reading, worst in ± 0.5 Hz."""
    found = []
    for middle in MAINS_HZ:
        steps = [middle + MAINS_SPREAD_HZ * (2.0 * n / (_PARTS - 1) - 1.0) for n in range(_PARTS)]
        found.append(
            max(
                averaging_attenuation(hz, conversion_s)
                * averages_attenuation(hz, period_s, averages)
                * attenuation(hz, corner)
                for hz in steps
            )
        )
    return tuple(found)


def settling_error(wait_s: float, tau_s: float) -> float:
    """Part of a step still missing after a wait, 0…1."""
    return math.exp(-wait_s / tau_s) if tau_s > 0.0 else 0.0


def settling_time_constants(bits: float) -> float:
    """Time constants until a full step is within half a code of `bits` bits: ln 2^(bits+1)."""
    return (bits + 1.0) * math.log(2.0)


@dataclass(frozen=True, slots=True)
class CapacitanceRange:
    """Capacitance in F that filters enough (`lowest`) and still settles (`highest`)."""

    lowest_f: float
    highest_f: float

    @property
    def is_empty(self) -> bool:
        return self.lowest_f > self.highest_f

    def holds(self, capacitance_f: float) -> bool:
        return self.lowest_f <= capacitance_f <= self.highest_f


def capacitance_range(
    resistance_ohm: float,
    bits: int,
    wait_s: float,
    chopper_hz: float = CHOPPER_HZ[0],
    passes_at_most: float = 1.0 / 3.0,
) -> CapacitanceRange:
    """Capacitance for this source resistance, from two demands.

    At `chopper_hz` no more than `passes_at_most` of the amplitude gets through; after
    `wait_s` the input has settled to half a code of `bits` bits.
    """
    ratio = math.sqrt(1.0 / passes_at_most**2 - 1.0)
    lowest = ratio / (2.0 * math.pi * resistance_ohm * chopper_hz)
    highest = wait_s / (settling_time_constants(bits) * resistance_ohm)
    return CapacitanceRange(lowest, highest)


def unsettled_ohm(element_ohm: float, reference_ohm: float, missing: float) -> float:
    """What a ratiometric converter reads while part of the voltage is still missing, Ω.

    The capacitor holds the voltage across the element back by `missing`, and what it
    lacks stands across the reference: R (1 − e)/(1 + e R/R_ref).
    """
    return element_ohm * (1.0 - missing) / (1.0 + missing * element_ohm / reference_ohm)
