"""Departures that no heat could make, one at a time: where they began and how they ended.

A reading departs where it moves, from one row to the next, by more than

    speed limit × time between the rows + Z × noise + one step of rounding

in units of the signal: for a held Pt100 about 0.7 Ω at 4 Hz, and 3 Ω at 1 Hz. Heat that is
under way may go on half as fast again, and what was moving and is told again unchanged is as
old as its last change. It has come
back when it stands where heat could have brought it meanwhile, and has stayed when it does
not for long. What an excursion is called is for `kinds.excursions` to say.
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment
from detectors.table.frame import ChannelColumns, ohm_per_code
from detectors.table.learned import Learned
from detectors.table.plan import ChannelPlan
from detectors.table.speedlimit import share_of_power, shares_of_power
from shared.updates import Floats

Z = 5.33 * math.sqrt(2.0)
"""5.33 sd is one false alarm in 30 days at 4 Hz for white noise; a difference of two readings
has √2 of the noise. Rounding and the speed limit come on top, for noise with fat tails."""
FIRST_NOISE_C = 0.25
"""Noise taken for granted before the first window, K."""
HELD_C_S = 2.5
"""How fast a heater may move against an excursion: the host regulates on the false reading."""
ALONG_C_S = 0.5
"""How fast it may move along with it, beyond the slope it had before."""
NEAR = 0.1
"""Part of an excursion's size within which it is back in any case. One that went to an end of the
range has no size: a contact that was open and is now only bad is not back, unless it eases."""
EASES_ROWS = 4
"""So many rows on end, each a part of the way back: a filter that settles. What a bad contact
reads goes up and down."""
EASES = 0.02, 0.6
LONGEST_S = 10.0
"""A contact that opens for longer is taken for a step, or for an open input."""
STAYS_ROWS = 3
STAYS_BELOW_S = 5.0
"""A jump down that lasts so long is a step: longer than supplies dip. A jump up may be an
open contact until `LONGEST_S`."""
RAMP_ROW = 4
GOES_ON = 1.5
"""Heat under way may go on so many times as fast as in the last clean window or moments ago."""
HEAT_S = 30.0
"""What went on like heat is heat for so long."""
DIP_ROWS = 2
DIP_BACK = 0.4
"""A jump that ends this near to where the reading was before it dipped, in parts of itself."""
FULL_C = 200.0
"""Where only degrees are known, a jump of so many K is a contact that opened wholly."""


class End(Enum):
    """How an excursion ended."""

    BACK = auto()
    STAYED = auto()
    HEAT = auto()
    """It went on like heat: the limit was too low for this heater. Nothing to report."""
    LOST = auto()
    """It was cut off by a gap or another source, or was an open or shorted input for long."""


@dataclass(slots=True)
class Excursion:
    """One departure, in units of the signal; deltas are from where heat would have been."""

    start_s: float
    row: int
    base: float
    """Signal at the row before."""
    before_c: float
    before_code: float
    first: float
    """Jump of the first row."""
    allowed: float
    """What heat and noise could have done in that row."""
    guard: float
    """What noise alone could have done."""
    slope: float
    """Slope of the signal before, per second."""
    per_kelvin: float
    in_ohms: bool
    spacing_s: float
    peak: float
    peak_c: float
    peak_code: float
    last: float
    rows: int = 1
    readings: int = 1
    """Rows in which the host sent the sensor's values: samples, as far as can be told."""
    same_way: int = 0
    eased: int = 0
    """Rows on end that went a part of the way back."""
    level: float = math.nan
    """Delta at the third row: the size of a step."""
    was_high: bool = False
    was_low: bool = False

    @property
    def is_up(self) -> bool:
        return self.first > 0.0


class Tracker:
    """Recognises departures of one channel and follows each to its end."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self.now: Excursion | None = None
        self._heat = 0.0
        """Slope, in units of the signal, of what lately turned out to be heat."""
        self._heat_s = -math.inf

    def suspects(self, columns: ChannelColumns, given: Given) -> NDArray[np.bool_]:
        """Rows that depart, shape (n,)."""
        at = given.window
        plan, learned = self._plan, given.learned
        per_kelvin: Floats | float = plan.ohm_per_kelvin
        if not columns.in_ohms.all():
            per_kelvin = np.where(columns.in_ohms, plan.ohm_per_kelvin, 1.0)
        least_guard = (Z * learned["noise"] + learned["step"])[at]
        first = Z * FIRST_NOISE_C * per_kelvin
        guard = np.where(np.isnan(least_guard), first, least_guard)
        spacing = np.fmax(columns.spacing_s, learned["spacing_s"][at])
        share = shares_of_power(columns.power_peak, learned["power"][at])
        least = np.minimum(learned["rise_c_s"], HELD_C_S)
        rise = np.fmax(learned["rise_c_s"][at] * share, least[at])
        fall = learned["fall_c_s"][at]
        delta = columns.signal - given.before
        scale = spacing * per_kelvin
        far = (delta > rise * scale + guard) | (-delta > fall * scale + guard)
        suspects: NDArray[np.bool_] = columns.changed & far
        return suspects

    def departs(self, moment: Moment, base: float) -> bool:
        """Whether the reading departs from `base` at this row; it is then followed on."""
        sample = moment.sample
        low, high = self._plan.ends(sample.in_ohms)
        # What comes back from beyond an end comes from no reading.
        if not sample.changed or not low < base < high:
            return False
        learned = moment.learned
        delta = sample.signal - base
        per_kelvin = self._plan.ohm_per_kelvin if sample.in_ohms else 1.0
        noise = learned.noise
        guard = Z * noise + learned.step if noise == noise else Z * FIRST_NOISE_C * per_kelvin
        spacing = sample.spacing_s if sample.spacing_s > learned.spacing_s else learned.spacing_s
        if delta > 0.0:
            rise = learned.rise_c_s * share_of_power(sample.power_peak, learned.power)
            least = least_rise(learned)
            fastest = rise if rise > least else least
        else:
            fastest = learned.fall_c_s
        if not abs(delta) > fastest * spacing * per_kelvin + guard:
            return False
        spacing = max(spacing, self._stale_s(moment, base, delta, guard))
        allowed = fastest * spacing * per_kelvin + guard
        if not abs(delta) > allowed:
            return False
        allowed = max(allowed, self._under_way(moment, delta, per_kelvin) * spacing + guard)
        if not abs(delta) > allowed:
            return False
        self.now = Excursion(
            start_s=moment.time_s,
            row=moment.row,
            base=base,
            before_c=moment.before.celsius,
            before_code=moment.before.code,
            first=delta,
            allowed=allowed,
            guard=guard,
            slope=learned.slope_c_s * per_kelvin,
            per_kelvin=per_kelvin,
            in_ohms=sample.in_ohms,
            spacing_s=spacing,
            peak=delta,
            peak_c=sample.celsius,
            peak_code=sample.code,
            last=sample.signal,
            level=delta,
        )
        self._rails(self.now, sample.signal)
        return True

    def _stale_s(self, moment: Moment, base: float, delta: float, guard: float) -> float:
        """How old the reading before is, where it was moving this way and was then told again."""
        moved = base - moment.earlier
        is_moving = moved * delta > 0.0 and abs(moved) > guard and base == moment.before.signal
        return moment.time_s - moment.before_since_s if is_moving else 0.0

    def _under_way(self, moment: Moment, delta: float, per_kelvin: float) -> float:
        """Slope, in units of the signal, at which heat of the last while may go on."""
        slope = moment.learned.slope_c_s * per_kelvin
        if moment.time_s - self._heat_s < HEAT_S and abs(self._heat) > abs(slope):
            slope = self._heat
        return GOES_ON * abs(slope) if (slope > 0.0) is (delta > 0.0) else 0.0

    def dip(self, moment: Moment) -> Excursion | None:
        """The dip that the departure at this row is only the return from, if it is.

        A reading that went the other way just before, by no more than heat might, and now
        stands where it was: it is the dip that no heat did. It takes the departure's place.
        """
        out, earlier = self.now, moment.earlier
        assert out is not None
        since_s = moment.before_since_s
        if not moment.time_s - since_s <= (DIP_ROWS + 0.5) * out.spacing_s:
            return None
        dipped = out.base - earlier
        back = moment.sample.signal - earlier
        if not (dipped * out.first < 0.0 and abs(back) <= DIP_BACK * abs(out.first)):
            return None
        before = moment.before
        code = (
            earlier / ohm_per_code(self._plan, before) if before.code == before.code else math.nan
        )
        self.now = None
        return Excursion(
            start_s=since_s,
            row=out.row,
            base=earlier,
            before_c=math.nan if out.in_ohms else earlier,
            before_code=code,
            first=dipped,
            allowed=out.allowed,
            guard=out.guard,
            slope=out.slope,
            per_kelvin=out.per_kelvin,
            in_ohms=out.in_ohms,
            spacing_s=out.spacing_s,
            peak=dipped,
            peak_c=before.celsius,
            peak_code=before.code,
            last=out.base,
            level=dipped,
        )

    def follow(self, moment: Moment) -> End | None:
        """Take the next row of the excursion; how it ended, if it did. It then stays in `now`."""
        out, sample = self.now, moment.sample
        assert out is not None
        if sample.joined or sample.signal != sample.signal:
            return End.LOST
        elapsed_s = moment.time_s - out.start_s
        drift = out.slope * (elapsed_s if elapsed_s < LONGEST_S else LONGEST_S)
        delta = sample.signal - out.base
        away = _beyond(delta, drift)
        wander = ALONG_C_S * out.per_kelvin * min(elapsed_s, LONGEST_S)
        went = (out.last - sample.signal) / (out.last - out.base) if out.last != out.base else 0.0
        out.eased = out.eased + 1 if EASES[0] < went < EASES[1] else 0
        if not self._railed(out) or out.eased >= EASES_ROWS:
            wander = max(wander, NEAR * abs(out.peak))
        if abs(away) <= min(out.guard + wander, 0.5 * abs(out.peak)):
            is_brief = elapsed_s <= LONGEST_S + out.spacing_s
            return End.BACK if is_brief or out.rows == 1 else End.LOST
        was_high = self._is_high(out.last)
        change = sample.signal - out.last
        out.last = sample.signal
        if (away > 0.0) is not out.is_up:
            return End.LOST if self._railed(out) and elapsed_s > LONGEST_S else End.BACK
        out.rows += 1
        out.readings += sample.fresh
        if abs(delta) > abs(out.peak):
            out.peak, out.peak_c, out.peak_code = delta, sample.celsius, sample.code
        if out.rows == STAYS_ROWS:
            out.level = delta - drift
        self._rails(out, sample.signal)
        if self._is_high(sample.signal) or self._is_low(sample.signal):
            return None
        if was_high and elapsed_s > LONGEST_S:
            return End.LOST
        if out.rows <= RAMP_ROW and 0.3 < change / out.first < 3.0:
            out.same_way += 1
        if out.rows == RAMP_ROW and out.same_way == RAMP_ROW - 1:
            self._heat, self._heat_s = delta / max(elapsed_s + out.spacing_s, 1e-9), moment.time_s
            return End.HEAT
        stays_s = LONGEST_S if out.is_up else STAYS_BELOW_S
        if out.rows >= STAYS_ROWS and elapsed_s >= stays_s:
            return End.STAYED
        return None

    def turned(self, out: Excursion, moment: Moment) -> bool:
        """After `out` came back: whether the reading went past, further than heat may have."""
        delta = moment.sample.signal - out.base
        if delta == 0.0 or (delta > 0.0) is out.is_up:
            return False
        wander = HELD_C_S * out.per_kelvin * min(moment.time_s - out.start_s, LONGEST_S)
        heat = min(max(delta, -wander), wander)
        if not self.departs(moment, out.base + heat):
            return False
        now = self.now
        assert now is not None
        # What heat may have done says whether it departs, but not from where: that is as before.
        now.base, now.before_c, now.before_code = out.base, out.before_c, out.before_code
        now.first = now.peak = now.level = delta
        return True

    def _rails(self, out: Excursion, signal: float) -> None:
        out.was_high = out.was_high or self._is_high(signal)
        out.was_low = out.was_low or self._is_low(signal)
        if not out.in_ohms and out.first > FULL_C:
            out.was_high = True

    def _railed(self, out: Excursion) -> bool:
        return out.was_high or out.was_low

    def _is_high(self, signal: float) -> bool:
        return self.now is not None and signal >= self._plan.ends(self.now.in_ohms)[1]

    def _is_low(self, signal: float) -> bool:
        return self.now is not None and signal <= self._plan.ends(self.now.in_ohms)[0]


def least_rise(learned: Learned) -> float:
    """Rise that needs no power, K/s: what was put in before, a fan that stops, a sensor in air."""
    return min(learned.rise_c_s, HELD_C_S)


def _beyond(delta: float, drift: float) -> float:
    """How far a delta lies outside the way from 0 to the drift."""
    low, high = (drift, 0.0) if drift < 0.0 else (0.0, drift)
    if delta > high:
        return delta - high
    return delta - low if delta < low else 0.0
