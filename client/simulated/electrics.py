"""One sensor chain in action: element, leads, filter, converter, bus, and the host's degrees.

Everything is in Ω at the converter's input, then in codes. Faults set the fields below
before each reading; nothing here draws random numbers but the converter's own noise.
"""

import math
import random

from client.simulated.scenario import Sensor
from shared import circuit, platinum
from shared.chain import Chain
from shared.circuit import AT_A, FITTED, HIGHEST, LOWEST, Lead, inputs_of
from shared.converter import full_scale
from shared.filters import (
    attenuation,
    averaging_attenuation,
    corner_hz,
    settling_error,
    source_ohm,
    unsettled_ohm,
)
from shared.leads import path_ohm, share_read
from shared.platinum import Curve

BEYOND = 10.0
"""What an input at the bias is taken for, in references: more than any code."""
HEADROOM_V = 0.25
"""Peak at an input at and above which it leaves the supply's range: `input-out-of-range`."""
RECTIFIED = 0.06
"""Part of what is clipped that the input turns into a steady error. An assumption."""
MOST_KNOWN = 1 << 16
"""Codes whose degrees are remembered; converters of many bits have more."""
AT_ZERO_C = {"AA": 0.1, "A": 0.15, "B": 0.3, "C": 0.6}
"""Tolerance at 0 °C, ± °C, IEC 60751."""
SPREAD = 1.0 / 3.0
"""Standard deviation of parts within their tolerance, as part of it."""


class SensorChain:
    """A sensor chain. `read` makes one conversion; the other fields are its results."""

    def __init__(self, sensor: Sensor, rng: random.Random) -> None:
        chain = sensor.chain
        self._chain = chain
        self._rng = rng
        self._full = full_scale(chain.bits)
        self._reference_ohm = chain.reference_ohm * (
            1.0 + rng.gauss(0.0, SPREAD * chain.reference_tolerance)
        )
        self._off_c = rng.gauss(0.0, SPREAD * AT_ZERO_C[chain.tolerance])
        self._noise_ohm = chain.noise_codes * chain.step_ohm
        mismatch = rng.gauss(0.0, SPREAD * chain.lead_mismatch) * path_ohm(chain)
        share, share_b = share_read(chain, sensor.bridged)
        self._is_hanging = math.isinf(share)
        self._leads_ohm = 0.0
        if not self._is_hanging:
            self._leads_ohm = share * path_ohm(chain) + share_b * mismatch
        self._inputs = inputs_of(chain, sensor.bridged)
        self._whole_ohm: dict[Lead, float] = {
            lead: path_ohm(chain) + (0.0 if lead in AT_A else mismatch)
            for lead in FITTED[chain.wires]
        }
        self._host = HostDegrees(sensor.believed_chain)
        self._settling_from = 0.0
        self._settling_s = 0.0
        self._settling_tau_s = 1.0
        self.clear()
        self.element_ohm = chain.r0_ohm
        self.input_ohm = 0.0
        self.has_read = False
        """Whether the host has had any reading yet."""
        self.code = 0
        self.flags: tuple[str, ...] = ()
        self.celsius = 0.0
        self.ohms = 0.0

    def clear(self) -> None:
        """No faults until they are set again."""
        self._added_ohm: dict[Lead, float] = {}
        self.is_parted = False
        """Whether the element itself is open."""
        self.shunt_ohm = math.inf
        self.gain = 1.0
        self.burst_v = 0.0
        """Peak of a burst at the inputs, before the filter; its sign is that of the error."""
        self.burst_hz = 50e3
        self.tone_v = 0.0
        """Mains tone at the inputs at this moment, V."""
        self.tone_hz = 50.0
        self.ground_v = 0.0
        """Voltage along the leads from a current that is not the converter's own, V."""
        self.is_lost = False
        """Whether this reading gets no answer."""
        self.flip: int | None = None
        """Bit of the code that the bus flips."""
        self.stuck: bool | None = None
        """Whether the data line is stuck, and at what."""

    @property
    def bits(self) -> int:
        return self._chain.bits

    def add_ohm(self, lead: Lead, ohm: float) -> None:
        """Further resistance of one lead until `clear`, Ω; inf: open. KeyError: no such lead."""
        self._added_ohm[lead] = self._added_ohm.get(lead, self._whole_ohm[lead]) + ohm

    def begin_settling(self, from_code: float, tau_s: float) -> None:
        """The converter's filter starts at this part of full scale, and settles."""
        self._settling_from = from_code * self._full
        self._settling_tau_s = tau_s
        self._settling_s = 1e-9

    def read(self, element_c: float, step_s: float) -> None:
        """One conversion and its way to the host, `step_s` after the one before."""
        chain = self._chain
        noise_ohm = self._rng.gauss(0.0, self._noise_ohm)
        self.element_ohm = platinum.ohms(element_c + self._off_c, chain.r0_ohm, chain.element_curve)
        ohm, flags = self._at_inputs()
        self.input_ohm = ohm
        position = (ohm + noise_ohm) * self.gain / self._reference_ohm * self._full
        position = min(max(position, 0.0), self._full - 1.0)
        if self._settling_s > 0.0:
            left = math.exp(-self._settling_s / self._settling_tau_s)
            position += (self._settling_from - position) * left
            self._settling_s = self._settling_s + step_s if left > 1e-6 else 0.0
        code = round(position)
        if code >= HIGHEST * self._full and "open" not in flags:
            flags = ("open", *flags)
        elif code <= LOWEST * self._full:
            flags = (*flags, "short")
        self._transfer(code, flags)

    def _at_inputs(self) -> tuple[float, tuple[str, ...]]:
        """Resistance that the converter would see without noise, and flags of its inputs."""
        chain = self._chain
        ohm = self.element_ohm
        if math.isfinite(self.shunt_ohm):
            ohm = ohm * self.shunt_ohm / (ohm + self.shunt_ohm)
        if self._is_hanging or self.is_parted or self._added_ohm:
            leads = self._whole_ohm | self._added_ohm
            seen = circuit.seen(self._inputs, math.inf if self.is_parted else ohm, leads)
            if "open" in seen.flags:
                most = BEYOND * self._reference_ohm
                return min(max(seen.ohm, 0.0), most), ("open",)
            ohm = max(seen.ohm, 0.0)
        else:
            ohm += self._leads_ohm
        source = source_ohm(chain, self.element_ohm)
        tau_s = source * chain.capacitance_nf * 1e-9
        missing = settling_error(chain.wait_ms / 1000.0, tau_s)
        ohm = unsettled_ohm(ohm, self._reference_ohm, missing)
        if not self.burst_v and not self.tone_v and not self.ground_v:
            return ohm, ()
        return self._disturbed(ohm, source)

    def _disturbed(self, ohm: float, source: float) -> tuple[float, tuple[str, ...]]:
        """What passes the filter: averaged by the conversion, and rectified where it clips."""
        chain = self._chain
        corner = corner_hz(source, chain.capacitance_nf * 1e-9)
        amperes = chain.bias_v / (chain.reference_ohm + self.element_ohm)
        window_s = chain.conversion_ms / 1000.0
        burst_v = self.burst_v * attenuation(self.burst_hz, corner)
        # Bursts are no whole number of periods: the envelope of the average counts.
        error_v = burst_v / (math.pi * self.burst_hz * window_s)
        tone_v = self.tone_v * attenuation(self.tone_hz, corner)
        error_v += tone_v * averaging_attenuation(self.tone_hz, window_s) + self.ground_v
        clipped_v = abs(burst_v) - HEADROOM_V
        if clipped_v < 0.0:
            return ohm + error_v / amperes, ()
        error_v += math.copysign(RECTIFIED * clipped_v, burst_v)
        return ohm + error_v / amperes, ("input-out-of-range",)

    def _transfer(self, code: int, flags: tuple[str, ...]) -> None:
        if self.is_lost:
            return
        if self.stuck is not None:
            code = self._full - 1 if self.stuck else 0
            flags = ("open", "input-out-of-range", "short") if self.stuck else ()
        elif self.flip is not None:
            code ^= 1 << self.flip
        self.has_read = True
        self.code = code
        self.flags = flags
        self.celsius, self.ohms = self._host.of(code)


class HostDegrees:
    """Degrees and Ω as the host makes them of codes, with the settings that it believes."""

    def __init__(self, believed: Chain) -> None:
        self._step_ohm = believed.believed_reference_ohm / full_scale(believed.bits)
        self._r0_ohm = believed.believed_r0_ohm
        self._curve = believed.believed_curve
        self._known: dict[int, tuple[float, float]] = {}

    def of(self, code: int) -> tuple[float, float]:
        found = self._known.get(code)
        if found is None:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            ohms = code * self._step_ohm
            celsius = platinum.celsius(ohms, self._r0_ohm, self._curve)
            if math.isnan(celsius):
                celsius = extrapolated(ohms / self._r0_ohm, self._curve)
            found = self._known[code] = (celsius, ohms)
        return found


def extrapolated(ratio: float, curve: Curve) -> float:
    """Degrees beyond the curve's range, by its quadratic part: hosts show a number anyway."""
    root = curve.a * curve.a - 4.0 * curve.b * (1.0 - ratio)
    return (math.sqrt(max(root, 0.0)) - curve.a) / (2.0 * curve.b)
