"""What was seen of one leaf over time, and what can be said of it without its name."""

import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from client.learn.tree import Place, is_own_value, text_of
from client.learn.vocabulary import (
    LIMIT_WORDS,
    OFF_WORDS,
    PERCENT_WORDS,
    PERMILLE_WORDS,
    QUANTITY_WORDS,
    words,
)
from client.units import DIMENSION_OF, DIMENSIONS
from client.values import number_in, said_in
from shared.updates import Floats

MAX_POINTS = 20_000
LARGEST = 1e30
"""No reading, code or clock comes near it, and sums and squares below it stay finite."""
_WORD = re.compile(r"[^\W\d_]+([ -][^\W\d_]+)?")
OTHER = "other"
"""A unit that is none of those known here."""
OWN_WORDS = 2
"""So many words of its own a host may have for where there is no number."""
STANDS_S = 0.3
"""So long a running clock may seem to stand: messages of one moment come one after another."""
LEAST_TICKS = 6
"""So often at least a clock is seen to go on."""
FLUTTER_READINGS = 60
"""What stands where it was put takes no new value in so many readings, or few."""
EVEN_READINGS = 40
NOISE_READINGS = 20
MAKES_UP = -0.25
"""Correlation of a step with the next; that of white noise is -0.5."""
CALM_READINGS = 5
FULL_SCALES = (1.0, 100.0, 255.0, 1000.0)
"""The whole as a fraction, in percent, as a byte and in parts of a thousand."""
RESTLESS_STEP = 2.0
"""Of a channel in its own unit: a regulator that chops goes by tens."""


@dataclass
class Series:
    """One leaf: its place from the status on, when it was heard, and its values."""

    place: Place
    own_s: list[float] = field(default_factory=list)
    values: list[Any] = field(default_factory=list)
    null_s: list[float] = field(default_factory=list)
    """When null was there."""
    beside: str = ""
    """The unit that a text beside it says."""
    at: Place = ()
    """The place as the host has it, where names in it are paths themselves."""
    kin: Place = ()
    """Where it would stand, were it with what a text beside it says that it is for."""

    @property
    def stands_at(self) -> Place:
        return self.at or self.place

    def add(self, own_s: float, value: Any) -> None:
        if value is None:
            self.null_s.append(own_s)
        elif len(self.values) < MAX_POINTS:
            self.own_s.append(own_s)
            self.values.append(value)

    def merged(self, other: "Series") -> "Series":
        """With what was said elsewhere of the same thing."""
        pairs = [*zip(self.own_s, self.values, strict=True)]
        pairs += zip(other.own_s, other.values, strict=True)
        pairs.sort(key=lambda pair: pair[0])
        return Series(
            self.place,
            [own_s for own_s, _ in pairs],
            [value for _, value in pairs],
            self.null_s + other.null_s,
            self.beside or other.beside,
        )

    @cached_property
    def is_number(self) -> bool:
        """All values are numbers, texts that are nothing but one, or words for `off`."""
        off = set(self.off_words)
        known = [
            value is not None or (type(said) is str and said in off)
            for said, value in zip(self.values, self._all, strict=True)
        ]
        return all(known) and len(self.numbers) > 0

    @cached_property
    def is_text_number(self) -> bool:
        """Its numbers are texts, at least some."""
        return self.is_number and any(
            type(value) is str and number_of(value) is not None for value in self.values
        )

    @cached_property
    def suffix(self) -> str:
        """The unit that all its texts say themselves; empty if they say none, or several."""
        found = [said_in(value) for value in self.values if type(value) is str]
        units = {said.unit for said in found if said is not None}
        return units.pop() if len(units) == 1 else ""

    @property
    def said_unit(self) -> str:
        """The unit that its values, or a text beside them, say."""
        return self.suffix or self.beside

    def can_be(self, quantity: str) -> bool:
        """Whether the unit that its values or its name say, if they do, measures that quantity."""
        unit = self.said_unit or ("percent" if self._is_named_a_share else "")
        return not unit or DIMENSIONS.get(unit) == DIMENSION_OF.get(quantity, OTHER)

    @property
    def _is_named_a_share(self) -> bool:
        """Whether its name ends in a share's unit: `tip_pct`; a `pc` alone may be a channel."""
        own = self.words[-1] if self.words else ()
        return len(own) > 1 and own[-1] in PERCENT_WORDS | PERMILLE_WORDS

    @cached_property
    def is_object(self) -> bool:
        return all(type(value) is dict for value in self.values)

    @cached_property
    def is_bool(self) -> bool:
        return all(type(value) is bool for value in self.values)

    @cached_property
    def off_words(self) -> tuple[str, ...]:
        """What it says instead of a number: the usual words, or one or two of its own."""
        texts = [value for value in self.values if type(value) is str]
        said = dict.fromkeys(text for text in texts if number_of(text) is None)
        own = [text for text in said if not is_off(text)]
        known = sum(value is not None for value in self._all)
        is_rest = known >= 2 and all(_WORD.fullmatch(text) for text in own)
        return tuple(said) if len(own) <= OWN_WORDS and (is_rest or not own) else ()

    @cached_property
    def _all(self) -> list[float | None]:
        return [number_of(value) for value in self.values]

    @cached_property
    def is_text(self) -> bool:
        return not self.is_number and all(type(value) is str for value in self.values)

    @cached_property
    def is_texts(self) -> bool:
        return all(type(value) is list for value in self.values)

    @cached_property
    def is_whole(self) -> bool:
        """All numbers are whole."""
        return self.is_number and bool(np.all(self.numbers == np.round(self.numbers)))

    @cached_property
    def numbers(self) -> Floats:
        """Those of its values that are numbers."""
        return np.array([value for value in self._all if value is not None], dtype=np.float64)

    @cached_property
    def times(self) -> Floats:
        """When these were heard."""
        pairs = zip(self.own_s, self._all, strict=True)
        return np.array([own_s for own_s, value in pairs if value is not None], dtype=np.float64)

    @cached_property
    def low(self) -> float:
        return float(self.numbers.min())

    @cached_property
    def high(self) -> float:
        return float(self.numbers.max())

    @cached_property
    def last(self) -> Any:
        return self.values[-1]

    @cached_property
    def is_full_scale(self) -> bool:
        """Whether it is either 0 or the whole of a share: all or nothing."""
        return self.high in FULL_SCALES and set(self.numbers) <= {0.0, self.high}

    @cached_property
    def distinct(self) -> int:
        return len({str(value) for value in self.values})

    @cached_property
    def resolution(self) -> float:
        """What all its changes are whole multiples of, to a millionth; 0 where it never changes."""
        return float(np.gcd.reduce(np.rint(1e6 * np.diff(self.numbers)).astype(np.int64))) / 1e6

    @cached_property
    def noise(self) -> float:
        """Median size of a change between neighbours that differ; 0 if none do."""
        steps = np.abs(np.diff(self.numbers))
        steps = steps[steps > 0.0]
        return float(np.median(steps)) if len(steps) else 0.0

    @cached_property
    def flutters(self) -> bool:
        """Takes many values at some time: a measurement, not a setting, a count or a clock."""
        return self.moves and (not self.is_rising or self.is_noisy)

    @cached_property
    def moves(self) -> bool:
        """Takes many values at some time."""
        if len(self.values) < 5:
            return False
        size = min(len(self.values), FLUTTER_READINGS)
        parts = (self.values[n : n + size] for n in range(0, len(self.values), size))
        most = max(len({str(value) for value in part}) for part in parts)
        return most >= max(4, 0.15 * size)

    @cached_property
    def is_noisy(self) -> bool:
        """Whether it has a measurement's noise, and is no clock: a step that was too large is made
        up for by the next. Steps of what is counted know nothing of each other."""
        # The latest: where a rise began its steps do know of each other.
        steps = np.diff(self.numbers)[-2 * NOISE_READINGS :]
        if len(steps) < NOISE_READINGS or any(map(self.runs_at, (1.0, 1e3, 1e6, 1e9))):
            return False
        at = np.arange(len(steps)) - (len(steps) - 1) / 2.0
        rest = steps - steps.mean()
        rest -= at * float(at @ rest) / float(at @ at)
        power = float(rest @ rest)
        return power > 0.0 and float(rest[1:] @ rest[:-1]) < MAKES_UP * power

    @cached_property
    def calm(self) -> Floats:
        """Its numbers without leaps that come and go: each the median of those around it."""
        if len(self.numbers) < CALM_READINGS:
            return self.numbers
        around = np.lib.stride_tricks.sliding_window_view(
            np.pad(self.numbers, CALM_READINGS // 2, mode="reflect"), CALM_READINGS
        )
        calm: Floats = np.median(around, axis=1)
        return calm

    @cached_property
    def _aims(self) -> tuple[Floats, Floats]:
        """When something was wanted, and how much: 0 where null or a word for off stood."""
        offs = [own_s for own_s, said in zip(self.own_s, self._all, strict=True) if said is None]
        offs += self.null_s
        said_s = np.array([*self.times, *offs])
        order = np.argsort(said_s, kind="stable")
        return said_s[order], np.array([*self.numbers, *(0.0 for _ in offs)])[order]

    def aims_at(self, times: Floats) -> Floats:
        """What was wanted at each of these times."""
        said_s, said = self._aims
        aims: Floats = said[np.clip(np.searchsorted(said_s, times, side="right") - 1, 0, None)]
        return aims

    @cached_property
    def stretches(self) -> list[tuple[float, float, float]]:
        """Times from and to which a number stood, and the number."""
        said_s, said = self._aims
        begins = np.flatnonzero(np.diff(said, prepend=np.nan) != 0.0)
        ends = [*said_s[begins[1:]], np.inf]
        return [
            (float(said_s[at]), float(end), float(said[at]))
            for at, end in zip(begins, ends, strict=True)
        ]

    @cached_property
    def is_restless(self) -> bool:
        """Turns round in more than a tenth of what was heard, by no more than a degree or so: the
        last digit of a measurement. A setting stays where it is put."""
        steps = np.diff(self.numbers)
        steps = steps[steps != 0.0]
        turns = int(np.sum(steps[1:] * steps[:-1] < 0.0))
        small = len(steps) > 0 and float(np.max(np.abs(steps))) <= RESTLESS_STEP
        return small and turns > max(3, 0.1 * len(self.values))

    @property
    def moves_little(self) -> bool:
        """Whether it goes on by small steps alone, as the last digit of a measurement does."""
        steps = np.abs(np.diff(self.numbers))
        return bool(np.any(steps > 0.0)) and float(steps.max()) <= RESTLESS_STEP

    @cached_property
    def is_rising(self) -> bool:
        """Never falls and rises evenly: a clock or a counter, not something that heats."""
        steps = np.diff(self.numbers)
        if len(steps) < 4 or np.any(steps < 0.0) or self.distinct <= 0.8 * len(steps):
            return False
        # By halves where there is little, so that chance does not decide; else by quarters.
        parts, evenly = (2, 1.25) if len(steps) < EVEN_READINGS else (4, 1.15)
        spans = np.diff(self.times)
        rates = [
            float(steps[part].sum() / max(float(spans[part].sum()), 1e-9))
            for part in np.array_split(np.arange(len(steps)), parts)
        ]
        return max(rates) < evenly * min(rates)

    @cached_property
    def counts(self) -> bool:
        """Whether it goes by one same step each time: a number of messages, say."""
        steps = np.diff(self.numbers)
        return len(steps) > 3 and steps[0] != 0.0 and bool(np.all(steps == steps[0]))

    @cached_property
    def rate(self) -> float | None:
        """Median of its rise per second of own time; None if that can't be told."""
        if len(self.times) < 4 or self.times[-1] - self.times[0] < 1.0:
            return None
        half = len(self.times) // 2
        spans = self.times[half:] - self.times[: len(self.times) - half]
        rises = self.numbers[half:] - self.numbers[: len(self.numbers) - half]
        good = spans > 0.3
        return float(np.median(rises[good] / spans[good])) if good.any() else None

    def off_pace(self, slope: float) -> float:
        """By what part of the time that passed it is ahead or behind at the end."""
        passed_s = float(self.times[-1] - self.times[0])
        return abs(float(self.numbers[-1] - self.numbers[0]) / slope / passed_s - 1.0)

    def runs_at(self, slope: float, near: float = 0.02) -> bool:
        """Whether it goes at so much a second as a clock does: all the time, and never standing for
        longer than its own ticks."""
        if self.rate is None:
            return False
        tick_s = self.noise / slope
        passed_s = float(self.times[-1] - self.times[0])
        slack = near + (tick_s + STANDS_S) / passed_s
        if not 0.0 < tick_s < passed_s / LEAST_TICKS or bool(np.any(np.diff(self.numbers) < 0.0)):
            return False
        if abs(self.rate / slope - 1.0) >= near + slack:
            return False
        runs = np.split(self.times, np.flatnonzero(np.diff(self.numbers)) + 1)
        # Where no message came nothing was seen to stand.
        stood_s = max(float(np.ptp(run) - np.max(np.diff(run), initial=0.0)) for run in runs)
        return self.off_pace(slope) <= slack and stood_s <= 1.5 * tick_s + STANDS_S

    def held_at(self, times: Floats) -> Floats:
        """Value that held at each of these times; the first one before it was heard."""
        at = np.searchsorted(self.times, times, side="right") - 1
        return self.numbers[np.clip(at, 0, None)]

    @cached_property
    def words(self) -> tuple[tuple[str, ...], ...]:
        """Words of each step of the place."""
        return tuple(words(text_of(token)) for token in self.place)

    @cached_property
    def last_words(self) -> set[str]:
        """Words that name it: of its last step, or of the one before where that says a quantity.

        `/nozzle/temp/value` is a temp, and so is `/temps/nozzle`.
        """
        steps = [
            set(parts)
            for token, parts in zip(reversed(self.place), reversed(self.words), strict=True)
            if not text_of(token).isdigit()
        ]
        if not steps:
            return set()
        own, before = steps[0], steps[1] if len(steps) > 1 else set()
        if is_own_value(self.place) and before & LIMIT_WORDS:
            return before
        # What stands under a state, such as `/status/nozzle`, is all sorts of things.
        says = {QUANTITY_WORDS.get(word) for word in before} - {None, "state", "message"}
        if says and not own & QUANTITY_WORDS.keys():
            return before | (own & LIMIT_WORDS)
        return own

    @cached_property
    def all_words(self) -> set[str]:
        return {word for parts in self.words for word in parts}


def number_of(value: Any) -> float | None:
    """The number that a value is, or says as a text."""
    if type(value) is str:
        found = number_in(value)
    else:
        found = float(value) if type(value) in (int, float) else None
    return found if found is not None and abs(found) <= LARGEST else None


def is_off(value: Any) -> bool:
    return type(value) is str and value.strip().lower() in OFF_WORDS


NEAR = 0.02
"""A controlled reading is nearer to its setting than this part of it,"""
LEAST_NEAR = 3.0
"""or than this many of its own units."""
UNTOLD = 0.4
"""Part of that where no name tells that it is a reading: a share may be near a count."""
OVERSHOOT = 2.0
"""So many times as far a reading may go beyond its setting before it turns back."""
RETURNS = 0.3
"""What falls back by more than this part of its rise while the setting stands is none of it."""
SWINGS = 3
"""So often there and back, within seconds, is a coordinate's way, or a share's."""
LEAST_ARRIVED = 0.1
"""What nothing tells must have come so far towards its setting at least."""
SWING_S = 12.0
HASTE, HASTE_S = 0.25, 1.5
LEAST_READINGS = 4
STAND_READINGS = 8
LEAST_FLUTTER = 3
"""Values that a measurement takes at least while it stands."""
PARTS = 8
"""A stretch in which a setting stands is looked at in so many parts."""
SETTLED_PARTS = 5
"""Its speed at the end is that of the last such part."""
SLOWER = 0.5
"""What noise, and power that is not full, may do to it."""
JUMP = 0.25
"""Heat goes no such part of its whole range from one reading to the next."""


def follows(reading: Series, setting: Series, is_told: bool = True) -> float:
    """How well a reading follows a setting, 0 to 1: it stands at it, or comes nearer from below.

    What the reading passes without stopping is no setting of it. Where nothing told that it is a
    reading, it must flutter where it stands: two numbers may be equal because both are full.
    """
    is_setting = setting.distinct <= max(6, len(reading.values) / 10)
    # What goes on by one now and then is a count.
    is_setting &= is_told or not setting.moves_little
    if not is_setting or setting.flutters or setting.is_restless or setting.high <= 0.0:
        return 0.0
    return max((_led(reading, is_told, *stretch) for stretch in setting.stretches), default=0.0)


def _led(reading: Series, is_told: bool, begin_s: float, end_s: float, aim: float) -> float:
    """The same for one stretch in which the setting stands."""
    inside = slice(*np.searchsorted(reading.times, [begin_s, end_s]))
    values = reading.calm[inside]
    if len(values) < LEAST_READINGS or aim <= 0.0:
        return 0.0
    near = max(LEAST_NEAR, NEAR * aim) * (1.0 if is_told else UNTOLD)
    stands = max(
        _stands(calm, aim, near) * (is_told or len(np.unique(raw)) >= LEAST_FLUTTER)
        for calm, raw in zip(_parts(values), _parts(reading.numbers[inside]), strict=True)
    )
    peak = int(np.argmax(values))
    rise, left = float(values[peak] - values[0]), float(aim - values[peak])
    comes = rise > 3.0 * max(reading.noise, 0.05) and left < aim - values[peak // 2]
    returns = float(values[peak] - values[peak:].min()) > max(RETURNS * rise, OVERSHOOT * near)
    if not comes or left < -OVERSHOOT * near or returns:
        return 0.0 if returns and not is_told else stands
    # What has nearly arrived must be slowing down; if it is not, it goes somewhere else.
    arrived = rise / (rise + abs(left))
    if arrived < LEAST_ARRIVED or _settles_elsewhere(values, aim, near):
        return stands
    return max(stands, 0.65 + 0.03 * arrived + 0.22 * arrived * _slows(values[: peak + 1]))


def _settles_elsewhere(values: Floats, aim: float, near: float) -> bool:
    """Whether it has slowed down by more than what heats it for that aim would let it.

    At full power heat loses speed in proportion to the way to where full power ends, which is no
    nearer than the aim: of its speed is left at least what of the way is left.
    """
    part = max(len(values) // SETTLED_PARTS, STAND_READINGS)
    if len(values) < 3 * part or aim - values[-1] <= near:
        return False
    at = np.arange(part) - (part - 1) / 2.0
    slope = float(at @ values[-part:]) / float(at @ at)
    quickest = float(np.max(values[part:] - values[:-part])) / part
    left = float((aim - values[-1]) / (aim - values.min()))
    return quickest * part > near and slope < SLOWER * left * quickest


def _slows(values: Floats) -> float:
    """How much slower a rise is at its end than at its quickest, 0 to 1."""
    size = max(len(values) // PARTS, 1)
    steps = np.diff(values[::size])
    quickest = float(steps.max(initial=0.0))
    return 1.0 - max(float(steps[-1]), 0.0) / quickest if quickest > 0.0 else 0.0


def _parts(values: Floats) -> list[Floats]:
    size = max(STAND_READINGS, len(values) // PARTS)
    return [values[at : at + size] for at in range(0, max(len(values) - size, 0) + 1, size // 2)]


def _stands(values: Floats, aim: float, near: float) -> float:
    """Whether a part stays near the aim and goes nowhere; the nearer the surer."""
    gap = float(np.median(np.abs(values - aim)))
    if gap > near:
        return 0.0
    at = np.arange(len(values)) - (len(values) - 1) / 2.0
    slope = float(at @ values) / float(at @ at)
    rest = float(np.std(values - slope * at))
    goes = abs(slope) * len(values) > max(3.0 * rest, 0.1 * near)
    return 0.0 if goes else 1.0 - 0.1 * gap / near


def is_continuous(one: Series) -> bool:
    """Whether it goes through what lies between: a power may jump, heat cannot."""
    steps = np.abs(np.diff(one.calm))
    if not len(steps):
        return False
    # A quick rise that slows down has steps like it beside it.
    padded = np.pad(steps, 1)
    beside = np.maximum(padded[:-2], padded[2:])
    jumps = (steps > max(JUMP * float(np.ptp(one.calm)), 6.0 * one.noise)) & (steps > 2.0 * beside)
    return not bool(jumps.any())


def wanders(one: Series) -> bool:
    """Whether it goes there and back over most of its range, again and again, as a coordinate does:
    what is hot has no such haste."""
    values = one.calm
    span = float(np.ptp(values)) if len(values) else 0.0
    if span <= max(5.0, 0.05 * float(np.max(np.abs(values), initial=0.0))):
        return False
    # Where it turns, by what it has come back from the last extreme.
    swings, extreme, up = 0, values[0], True
    for value in values:
        if (value > extreme) == up:
            extreme = value
        elif abs(value - extreme) > 0.3 * span:
            swings, extreme, up = swings + 1, value, not up
    passed_s = float(one.times[-1] - one.times[0])
    return _hastens(one, span) or (swings >= SWINGS and passed_s / swings < SWING_S)


def _hastens(one: Series, span: float) -> bool:
    """Whether it falls, step by step, by much of its range within a second: nothing cools so."""
    falls = np.diff(one.calm) < 0.0
    for at in np.flatnonzero(falls[:-2] & falls[1:-1] & falls[2:]):
        end = int(np.searchsorted(one.times, one.times[at] + HASTE_S, side="right")) - 1
        run = falls[at : max(end, at + 3)]
        fallen = float(one.calm[at] - one.calm[at + len(run)])
        if bool(run.all()) and fallen > HASTE * span:
            return True
    return False
