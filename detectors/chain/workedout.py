"""Chain facts that nobody told, worked out from the log: Ω per code, R0, bits, the reference.

Windows of 32 rows hold the mean signal, in Ω by the scale of the first pair of readings, and
the mean degrees beside it. The host's own Ω per code is that scale over the slope of a
least-squares line through the origin of signal over R(t) by IEC 60751, with the slope's
standard uncertainty, from the first windows in which heat moves slowly: a host that smooths
its degrees lags behind. Windows that leave the line at a resistance that had been on it are a
setting that changed meanwhile; at another resistance, codes that are no part of a reference,
as a divider's or an amplifier's are, and then nothing of the converter is worked out.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import msgspec
import numpy as np

from detectors.table.closed import Together
from detectors.table.frame import Held
from detectors.table.plan import ChannelPlan
from detectors.table.scale import USUAL_TIMES, top_bits
from shared.chain import UNTOLD, Chain
from shared.chainstate import WorkedOut
from shared.events import Event
from shared.platinum import LOWEST_C, ratio_array
from shared.updates import Floats
from shared.words import Kind

FIRST_WINDOWS = 64
"""Nine minutes at 4 readings a second."""
SLOW_C_S = 0.3
"""A lag of 5 s is then 1.5 K, half a percent."""
CHANGED = 0.01
"""Relative: more than lag and rounding."""
NEAR = 0.02
"""Resistances within this of one on the line are the same."""
CHANGED_WINDOWS = 8


@dataclass(slots=True)
class Fit:
    """Running sums of the line, and what contradicts it now. `scale` is that of the windows."""

    scale: float = math.nan
    count: int = 0
    xy: float = 0.0
    xx: float = 0.0
    yy: float = 0.0
    low: float = math.inf
    high: float = -math.inf
    """Resistances on the line."""
    off: list[float] = field(default_factory=list)
    """Slopes of windows on end that left the line."""
    off_s: float = math.nan
    bent: int = 0
    """Windows that left the line at resistances that were never on it."""
    changed: tuple[float, float] | None = None
    """When the host began to reckon otherwise, and by which factor."""

    @property
    def slope(self) -> float:
        return self.xy / self.xx if self.count else math.nan

    @property
    def standard(self) -> float:
        """Of the slope, relative."""
        if self.count < 2:
            return math.nan
        left = max(self.yy - self.xy * self.xy / self.xx, 0.0) / (self.count - 1)
        return math.sqrt(left / self.xx) / self.slope

    def add(self, scale: float, ohm: float, by_curve_ohm: float, start_s: float) -> None:
        """One window: its mean signal, and the Ω that its degrees stand for."""
        if scale != self.scale:
            self.scale, self.count, self.off, self.bent = scale, 0, [], 0
            self.xy = self.xx = self.yy = 0.0
            self.low, self.high = math.inf, -math.inf
        slope = ohm / by_curve_ohm
        if self.count and abs(slope / self.slope - 1.0) > CHANGED:
            if (1.0 - NEAR) * self.low <= ohm <= (1.0 + NEAR) * self.high:
                self._leaves(slope, start_s)
            else:
                self.bent += 1
            return
        self.off = []
        self.low, self.high = min(self.low, ohm), max(self.high, ohm)
        if self.count < FIRST_WINDOWS:
            self.count += 1
            self.xy += ohm * by_curve_ohm
            self.xx += by_curve_ohm * by_curve_ohm
            self.yy += ohm * ohm

    def _leaves(self, slope: float, start_s: float) -> None:
        if self.off and abs(slope / self.off[0] - 1.0) > CHANGED:
            self.off = []
        if not self.off:
            self.off_s = start_s
        self.off.append(slope)
        if len(self.off) == CHANGED_WINDOWS and self.changed is None:
            self.changed = self.off_s, self.off[0] / self.slope


class WorkedOutWatch:
    """Keeps the line of every channel that sends codes beside degrees."""

    def __init__(self) -> None:
        self._fits: dict[str, Fit] = {}

    def window(self, together: Together, index: int, held: Mapping[str, Held]) -> None:
        """One window of all channels."""
        for name, (ohm, by_curve, joined) in together.of(_pairs).items():
            if joined[index]:
                self._fits.pop(name, None)
            if by_curve[index] != by_curve[index]:
                continue
            fit = self._fits.get(name)
            if fit is None:
                fit = self._fits[name] = Fit()
            scale = held[name].plan.scale
            start_s = together.times.start_s[index]
            fit.add(scale.ohm_per_code, ohm[index], by_curve[index] * scale.r0_ohm, start_s)

    def changed(self, name: str) -> tuple[float, float] | None:
        """When a host began to reckon otherwise, and the factor that its Ω took."""
        fit = self._fits.get(name)
        return None if fit is None else fit.changed

    def facts(self, plan: ChannelPlan, events: Sequence[Event]) -> tuple[WorkedOut, ...]:
        """What was worked out of the facts that were not told."""
        chain, scale, found = plan.chain, plan.scale, []
        if not chain.knows("r0_ohm") and scale.r0_is_known:
            found.append(WorkedOut("r0_ohm", scale.r0_ohm, math.nan, "from Ω beside degrees"))
        bits = _bits_at_end(plan, events)
        if not chain.knows("bits") and bits is not None:
            found.append(WorkedOut("bits", float(bits), 0.0, "from the code of an open input"))
        if scale.is_told or scale.is_from_codes_alone or math.isnan(scale.ohm_per_code):
            return tuple(found)
        fit = self._fits.get(plan.name, Fit())
        if fit.bent >= CHANGED_WINDOWS:
            return tuple(found)
        is_fitted = fit.count > 0 and fit.scale == scale.ohm_per_code
        step = scale.ohm_per_code / (fit.slope if is_fitted else 1.0)
        standard = step * fit.standard if is_fitted else math.nan
        found.append(WorkedOut("step_ohm", step, standard, "from codes beside degrees or Ω"))
        why = "from Ω per code and bits"
        if bits is None and chain.knows("bits"):
            bits = chain.bits
        if bits is None:
            bits = scale.likely_bits
            why = f"if it has {bits} bits, which makes it about {USUAL_TIMES:g} times R0"
        size = 2.0**bits
        found.append(WorkedOut("reference_ohm", step * size, standard * size, why))
        return tuple(found)


def with_worked_out(chain: Chain, facts: Sequence[WorkedOut]) -> Chain:
    """A chain with what was worked out in place of what stands for nothing.

    Ω per code then holds; bits are the likeliest where they were not told.
    """
    values = {each.key: each.value for each in facts}
    step, reference = values.get("step_ohm"), values.get("reference_ohm")
    r0_ohm = chain.r0_ohm if chain.knows("r0_ohm") else values.get("r0_ohm", UNTOLD.r0_ohm)
    if step is None or reference is None:
        return _replaced(chain, r0_ohm, chain.reference_ohm, chain.bits)
    return _replaced(chain, r0_ohm, reference, round(math.log2(reference / step)))


def _replaced(chain: Chain, r0_ohm: float, reference_ohm: float, bits: int) -> Chain:
    return msgspec.structs.replace(chain, r0_ohm=r0_ohm, reference_ohm=reference_ohm, bits=bits)


def _bits_at_end(plan: ChannelPlan, events: Sequence[Event]) -> int | None:
    ends = [
        top_bits(int(event.value))
        for event in events
        if event.channel == plan.name and event.kind is Kind.CODE_HIGH and event.unit == "codes"
    ]
    return max((bits for bits in ends if bits is not None), default=None)


Pairs = tuple[list[float], list[float], list[bool]]


def _pairs(together: Together) -> dict[str, Pairs]:
    """Mean signal in Ω, R/R0 by its mean degrees (NaN where that is no pair), and whether the
    signal began anew, of each window."""
    found: dict[str, Pairs] = {}
    for name, run in together.channels.items():
        channel = run.channel
        if not (channel.mean != channel.celsius).any():
            continue
        is_pair = channel.present & ~channel.joined & (channel.mean != channel.celsius)
        is_pair &= (channel.low > 0.0) & (channel.celsius > LOWEST_C)
        is_pair &= np.abs(channel.celsius_slope) <= SLOW_C_S
        ratios: Floats = np.where(is_pair, ratio_array(channel.celsius), np.nan)
        ratios[~(ratios > 0.0)] = np.nan
        found[name] = channel.mean.tolist(), ratios.tolist(), channel.joined.tolist()
    return found
