"""spike, bit-flip, contact-break and step: what no heat could do, told apart.

Quantity: Ω where a code or resistance is known, else K. One tracker
(`kinds.excursion`) finds where a reading departs; the kind follows from how it ends:

- bit-flip       one reading; its code with one bit flipped back is what the readings on both
                 sides give. Chance would agree with less than 4 % of jumps of its size, or
                 with up to 12 % where three quarters of the latest agree.
- contact-break  toward open and back: to the open end of the range even for one reading, or
                 two readings or more. Single readings up, three in ten minutes and none down.
- spike          any other excursion that came back: one reading, or a few below.
- step           it stayed: for 5 s below, for 10 s above, since a contact may open so long.

Blind to jumps within the speed limit times the spacing of readings; to steps among bursts
that go both ways; and, for bit-flip, where the code is not known and degrees are too
coarse to give it back.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, RowDetector, Say
from detectors.kinds.excursion import (
    HELD_C_S,
    LONGEST_S,
    STAYS_BELOW_S,
    STAYS_ROWS,
    End,
    Excursion,
    Tracker,
    least_rise,
)
from detectors.reports import Departure, Sighting
from detectors.table.bits import MOST_CHANCE_OF_SIZE, WEAK_CHANCE_OF_SIZE, flipped_bit
from detectors.table.frame import ChannelColumns, Frame, ohm_per_code
from detectors.table.plan import ChannelPlan
from shared.events import NotEvaluated
from shared.kinds import KINDS
from shared.when import spelt
from shared.words import Kind

RECENT_S = 600.0
SINGLES = 3
"""So many single readings within `RECENT_S`, nearly all up, are a contact."""
BOTH_WAYS_OF = 4
BOTH_WAYS_SHARE = 0.25
"""A quarter of the latest down: noise with bursts or a bus, not a contact; a longer one up
among the first few is one all the same."""
STORM_S = 60.0
BRIEF_ROWS = 3
RETURNS = 0.6
"""A jump against the one before that ends so near to where that began, in parts of itself,
is the rest of its return."""
FLIPS_OF = 16
FLIPS_SHARE = 0.15
"""Of the latest excursions so many must be flips of a bit, or the few are chance."""
MOST_HEAT_C = 50.0
"""Where heat may do more between two readings, faults are told from it no more: a break of a good
contact is of about this size (a choice)."""
CODE_TOLERANCE = 1.0
"""Codes; three sd of noise on top."""
WEAK_SHARE = 0.75
"""Agreements that chance may well have made count where so many of the latest do agree."""


"""Kinds whose downward jumps make a loop heat; a flipped bit is gone with the next reading."""


@dataclass(slots=True)
class _Tally:
    """What the occurrences of one kind had in common."""

    count: int = 0
    up: int = 0
    full: int = 0
    moving: int = 0
    motion_known: int = 0
    partial: int = 0
    """Those that did not go to an end of the range: they have a size."""
    log_size: float = 0.0
    log_squares: float = 0.0

    def size(self, value: float) -> None:
        """Take a size into the running mean and squares of their logarithms (Welford)."""
        self.partial += 1
        off = math.log(max(abs(value), 1e-9)) - self.log_size
        self.log_size += off / self.partial
        self.log_squares += off * (off - off / self.partial)

    @property
    def spread(self) -> float:
        """Standard deviation of the logarithms of the sizes; NaN below two."""
        return math.sqrt(self.log_squares / (self.partial - 1)) if self.partial > 1 else math.nan


class ExcursionDetector(RowDetector):
    """Busy while a reading is away."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._tracker = Tracker(plan)
        self._recent: deque[tuple[float, bool, bool, float]] = deque(maxlen=64)
        self._tallies: dict[Kind, _Tally] = {}
        self._context: dict[str, float] = {}
        self._last: Excursion | None = None
        self._last_end_s = 0.0
        self._last_row = 0
        self._last_s = 0.0
        self._heat_c = self._spacing_s = 0.0
        """What heat may do from one row to the next, K, and the time between them."""
        self.busy = False

    def suspects(self, columns: ChannelColumns, frame: Frame, given: Given) -> NDArray[np.bool_]:
        if len(given.window):
            learned = given.learned.after(int(given.window[-1]))
            self._spacing_s = learned.spacing_s
            self._heat_c = least_rise(learned) * learned.spacing_s
        return self._tracker.suspects(columns, given)

    def step(self, moment: Moment, say: Say) -> None:
        if not self.busy:
            if moment.sample.changed and self._tracker.departs(moment, moment.before.signal):
                # What the reading just came back from is no level that it could dip from.
                is_fresh = self._last is not None and self._last_end_s >= moment.before_since_s
                dip = None if is_fresh else self._tracker.dip(moment)
                if dip is None:
                    self._depart(moment, say)
                else:
                    self._dipped(dip, moment, say)
            return
        self._last_row, self._last_s = moment.row, moment.time_s
        end = self._tracker.follow(moment)
        if end is None:
            return
        out = self._tracker.now
        assert out is not None
        self.busy = False
        self._tracker.now = None
        if self._completes_a_return(out):
            pass
        elif end is End.BACK:
            self._back(out, moment, say)
        elif end is End.STAYED and not self._is_explained(out):
            self._stayed(out, moment.row, moment.time_s, say)
        self._last = out
        self._last_end_s = moment.time_s
        say(self._departure(out, moment.row, moment.time_s, away=False))
        if end is End.BACK and self._tracker.turned(out, moment):
            self._depart(moment, say)

    def finish(self, say: Say) -> None:
        out = self._tracker.now
        if out is None or out.rows < STAYS_ROWS or out.was_high or out.was_low:
            return
        if self._last_s - out.start_s >= STAYS_BELOW_S:
            self._stayed(out, self._last_row, self._last_s, say)

    def not_evaluated(self) -> list[NotEvaluated]:
        plan, channel, found = self._plan, self._plan.name, list[NotEvaluated]()
        if not plan.has_code and not plan.degrees_give_codes:
            why = "no code is reported, and degrees do not give it back"
            found.append(NotEvaluated(kind=Kind.BIT_FLIP, channel=channel, why=why))
        if self._heat_c > MOST_HEAT_C:
            seldom = f"one reading in {spelt(self._spacing_s)}"
            why = f"{seldom}: heat may move it by {self._heat_c:.0f} K from one to the next"
            kinds = (Kind.SPIKE, Kind.CONTACT_BREAK, Kind.STEP)
            found += [NotEvaluated(kind=kind, channel=channel, why=why) for kind in kinds]
        return found

    # -- one excursion --

    def _depart(self, moment: Moment, say: Say) -> None:
        out = self._tracker.now
        assert out is not None
        self.busy = True
        self._context = dict(moment.context)
        say(self._departure(out, moment.row, moment.time_s, away=True))

    def _dipped(self, dip: Excursion, moment: Moment, say: Say) -> None:
        """An excursion that showed only when it was over."""
        self._context = dict(moment.context)
        say(self._departure(dip, moment.row, moment.time_s, away=True))
        self._back(dip, moment, say)
        self._last, self._last_end_s = dip, moment.time_s
        say(self._departure(dip, moment.row, moment.time_s, away=False))

    def _departure(self, out: Excursion, row: int, time_s: float, *, away: bool) -> Departure:
        return Departure(row, time_s, self._plan.name, away, out.first, _unit(out), out.spacing_s)

    def _back(self, out: Excursion, moment: Moment, say: Say) -> None:
        if self._is_between(out, out.peak) and not self._is_single(out):
            return
        bit = self._bit(out, moment, MOST_CHANCE_OF_SIZE)
        share = FLIPS_SHARE
        if bit is None:
            bit, share = self._bit(out, moment, WEAK_CHANCE_OF_SIZE), WEAK_SHARE
        self._recent.append((out.start_s, out.is_up, bit is not None, abs(out.peak)))
        bit = bit if self._are_flips(share) else None
        kind = self._kind(out, bit)
        if kind is None:
            return
        duration_s = moment.time_s - out.start_s
        size = f"{_size(out.peak, out)} for {duration_s:.2f} s, then back"
        if bit is not None:
            text = f"{_size(out.peak, out)} for one reading: bit {bit} of the code was flipped"
        elif kind is Kind.CONTACT_BREAK and out.was_high:
            text = f"open for {duration_s:.2f} s, then back: a contact opened"
        elif kind is Kind.CONTACT_BREAK:
            text = f"{size}: a contact opened"
        else:
            text = f"{size}: no heat does that"
        facts = self._facts(out, kind, duration_s)
        if bit is not None:
            facts["bit"] = float(bit)
        say(self._sighting(out, moment.row, moment.time_s, kind, moment.time_s, text, facts))

    def _stayed(self, out: Excursion, row: int, time_s: float, say: Say) -> None:
        out.peak = out.level
        text = f"{_size(out.level, out)} in {out.spacing_s:.2g} s, and it stayed: no heat does that"
        facts = self._facts(out, Kind.STEP, time_s - out.start_s)
        say(self._sighting(out, row, time_s, Kind.STEP, out.start_s, text, facts))

    def _completes_a_return(self, out: Excursion) -> bool:
        """Whether a jump only brought the reading back to where it was before the last one."""
        last = self._last
        if last is None or last.is_up is out.is_up or last.in_ohms is not out.in_ohms:
            return False
        is_near = out.start_s - self._last_end_s <= LONGEST_S
        return is_near and abs(out.base + out.level - last.base) < RETURNS * abs(out.level)

    def _is_between(self, out: Excursion, size: float) -> bool:
        """Whether it went against the way of nearly all of late and no further than those: what
        lies between two of which one began too gently to be seen, or stayed for long."""
        recent = [
            (up, each) for start_s, up, _, each in self._recent if out.start_s - start_s <= RECENT_S
        ]
        same = sum(up is out.is_up for up, _ in recent)
        if len(recent) < SINGLES or same >= BOTH_WAYS_SHARE * len(recent):
            return False
        return abs(size) <= max(each for _, each in recent)

    def _may_be_heat(self, out: Excursion) -> bool:
        """Whether what stayed is what heat did while readings were away just before."""
        last = self._last
        if last is None or out.start_s - self._last_end_s > LONGEST_S:
            return False
        seconds = min(out.start_s - last.start_s, LONGEST_S)
        return abs(out.level) <= HELD_C_S * out.per_kelvin * seconds

    def _is_explained(self, out: Excursion) -> bool:
        """Whether what stayed is no step of its own."""
        return self._may_be_heat(out) or self._is_storm(out) or self._is_between(out, out.level)

    def _is_storm(self, out: Excursion) -> bool:
        """Whether bursts go both ways: then no level is sure enough to jump from."""
        recent = [up for start_s, up, *_ in self._recent if out.start_s - start_s <= STORM_S]
        down = len(recent) - sum(recent)
        few = min(down, len(recent) - down)
        return len(recent) >= BOTH_WAYS_OF and few >= BOTH_WAYS_SHARE * len(recent)

    def _kind(self, out: Excursion, bit: int | None) -> Kind | None:
        """None where code-high or code-low has said it already."""
        if bit is not None:
            return Kind.BIT_FLIP
        if out.was_low:
            return None
        recent = [up for start_s, up, *_ in self._recent if out.start_s - start_s <= RECENT_S]
        down = len(recent) - sum(recent)
        is_both_ways = down >= BOTH_WAYS_SHARE * len(recent)
        if out.was_high:
            return None if is_both_ways and out.rows <= BRIEF_ROWS else Kind.CONTACT_BREAK
        if not out.is_up:
            return Kind.SPIKE
        if self._is_single(out):
            is_contact = len(recent) >= SINGLES and not is_both_ways
        else:
            is_few = len(recent) < BOTH_WAYS_OF and out.rows > BRIEF_ROWS
            is_contact = is_few or not is_both_ways
        return Kind.CONTACT_BREAK if is_contact else Kind.SPIKE

    def _are_flips(self, share: float) -> bool:
        """Whether bits explain enough of the latest excursions not to be chance agreements."""
        flips = [flip for _, _, flip, _ in list(self._recent)[-FLIPS_OF:]]
        return sum(flips) >= share * len(flips)

    def _is_single(self, out: Excursion) -> bool:
        """One sample of the sensor, also where other rows follow before it is sent again."""
        return out.rows == 1 or (out.readings == 1 and out.rows <= BRIEF_ROWS)

    # -- bits --

    def _bit(self, out: Excursion, moment: Moment, most_of_size: float) -> int | None:
        if not self._is_single(out):
            return None
        plan, after = self._plan, moment.sample
        before_code, code, after_code = out.before_code, out.peak_code, after.code
        tolerance = CODE_TOLERANCE
        if code != code:
            if not plan.degrees_give_codes or not out.peak_c < 900.0:
                return None
            before_code, code, after_code = (
                plan.code_of_degrees(celsius)
                for celsius in (out.before_c, out.peak_c, after.celsius)
            )
            tolerance += 1.0
        guard_ohm = out.guard if out.in_ohms else out.guard * plan.ohm_per_kelvin
        noise = guard_ohm / ohm_per_code(plan, after)
        tolerance += 0.4 * noise + 0.25 * abs(after_code - before_code)
        expected = 0.5 * (before_code + after_code)
        bits = plan.bits(code, expected)
        return flipped_bit(code, expected, tolerance, bits, most_of_size)

    # -- words and numbers --

    def _facts(self, out: Excursion, kind: Kind, duration_s: float) -> dict[str, float | str]:
        tally = self._tallies.setdefault(kind, _Tally())
        speed = self._context.get("motion.speed_mm_s")
        if not out.was_high:
            tally.size(out.peak)
        tally.count += 1
        tally.up += out.is_up
        tally.full += out.was_high
        if speed is not None and speed == speed:
            tally.motion_known += 1
            tally.moving += speed > 0.0
        facts: dict[str, float | str] = {
            "duration_s": duration_s,
            "samples": float(out.readings),
            "positive_share": tally.up / tally.count,
            "up": float(tally.up),
            "down": float(tally.count - tally.up),
            "before": out.base,
            "delta_ohm" if out.in_ohms else "delta_c": out.peak,
        }
        if out.in_ohms:
            facts["delta_c"] = out.peak / out.per_kelvin
        if out.peak_code == out.peak_code:
            facts["delta_codes"] = out.peak_code - out.before_code
        if tally.partial > 1:
            facts["size_spread"] = tally.spread
            facts["sized"] = float(tally.partial)
        if kind is Kind.CONTACT_BREAK:
            facts["full"] = tally.full / tally.count
            facts["full_count"] = float(tally.full)
            facts["partial"] = 1.0 - tally.full / tally.count
        if tally.motion_known:
            facts["moving"] = tally.moving / tally.motion_known
        facts.update(_place(self._context))
        return facts

    def _sighting(
        self,
        out: Excursion,
        row: int,
        time_s: float,
        kind: Kind,
        end_s: float,
        text: str,
        facts: dict[str, float | str],
    ) -> Sighting:
        return Sighting(
            row=row,
            at_s=time_s,
            channel=self._plan.name,
            kind=kind,
            start_s=out.start_s,
            end_s=end_s,
            value=out.peak,
            unit=_unit(out),
            text=text,
            reads_low=KINDS[kind].may_read_low and not out.is_up,
            facts=facts,
        )


def _place(context: Mapping[str, float]) -> dict[str, float | str]:
    """Where the carriage was, by short names."""
    return {
        key.removeprefix("motion."): value
        for key, value in context.items()
        if key.startswith("motion.") and value == value
    }


def _unit(out: Excursion) -> str:
    return "Ω" if out.in_ohms else "K"


def _size(delta: float, out: Excursion) -> str:
    if out.in_ohms:
        return f"{_number(delta)} Ω ({_number(delta / out.per_kelvin)} K)"
    return f"{_number(delta)} K"


def _number(value: float) -> str:
    digits = 0 if abs(value) >= 100.0 else 1 if abs(value) >= 1.0 else 2
    return f"{value:+.{digits}f}".replace("-", "−")
