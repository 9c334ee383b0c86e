"""What power a held heater needs: the balance of its heat, learned from the log.

    power = unit · ((T − 25) · (1 + hotter + fan + motion + feed) + tau · dT/dt − air) + unknown

A sensor that reads low by a kelvin leaves over what a kelvin is worth. The shares of fan, motion
and feed, the lag, and what air the other channels and the heat of late speak for are found by
Bayesian linear regression (for instance Bishop 2006, 3.3) from priors that are as wide as machines
differ; an input that was never seen to move keeps its prior's width. What no input explains is the
unknown load, whose size is learned from ten minutes' means.
"""

import math
from dataclasses import dataclass

import numpy as np

from shared.updates import Floats

ROOM_C = 25.0
FLOWS_C = 140.0
"""Below this target no material flows (common practice)."""
LEAST_UNIT = 1e-5
"""Power for each kelvin below which nothing holds the heat: 0.2 % at 225 °C."""
FANS, OTHERS = 2, 6
"""So many fans and other channels enter at most; what comes later does not."""
SOAK_S = 1200.0
"""Air, case and what is around a heater follow it with this time constant (an assumption)."""
SOON_S = 240.0

HOTTER, SLOPE, AIR, SOON, SOAK = 1, 2, 3, 4, 5
FAN, MOVING, SPEED, FEED = 6, 6 + FANS, 7 + FANS, 8 + FANS
OTHER = 9 + FANS
SIZE = OTHER + OTHERS

_PRIOR = np.zeros(SIZE)
_WIDTH = np.zeros(SIZE)
for _at, _mean, _width in (
    (0, 1.0, 0.3),
    (HOTTER, 0.15, 0.2),  # from 200 to 300 °C: air's own convection 12 %, radiation 51 % (computed)
    (SLOPE, 200.0, 300.0),
    (AIR, 0.0, 10.0),
    (SOON, 0.05, 0.1),
    (SOAK, 0.1, 0.2),
    (MOVING, 0.05, 0.1),
    (SPEED, 2e-4, 5e-4),
    (FEED, 0.03, 0.04),  # 2.4 mm² · 1.24 mg/mm³ · 1.8 J/gK over 0.1 to 0.3 W/K (from memory)
):
    _PRIOR[_at], _WIDTH[_at] = _mean, _width
_PRIOR[FAN : FAN + FANS], _WIDTH[FAN : FAN + FANS] = 0.15, 0.2
_PRIOR[OTHER:], _WIDTH[OTHER:] = -0.1, 0.3
"""Priors in the equation's own terms; all are assumptions about printers at large."""
_WIDTHS: Floats = np.outer(_WIDTH, _WIDTH)

NOISE_PART, SWITCHED_PART, NOISE_LOOKS = 0.03, 0.1, 4.0
"""A look's own scatter before any was seen, as part of T − 25, smooth or switched, and how
many looks that counts."""
LOAD_LOOKS = 10
"""So many looks on end make a mean of which the unknown load is learned."""
LOAD_PART, LOAD_MEANS = 0.02, 2.0
"""The same for these means."""
ODD, ODD_APART = 3.0, 2.5
"""What lies further off than so many deviations teaches as if it lay there; and what neighbours
differ by, where a single jump must not pass for scatter."""


@dataclass(frozen=True, slots=True)
class HoldLook:
    """One look at a hold: means over it, and how fast the reading rose, K/s."""

    start_s: float
    end_s: float
    power: float
    celsius: float
    slope: float
    is_switched: bool
    air_c: float
    """Of the air around it, where a channel tells it, else a room's."""
    has_air: bool
    """Whether a channel without a heater tells of the air."""
    inputs: dict[str, float]
    """Fans, motion and other channels, by key; NaN where not known."""

    @property
    def warmth(self) -> float:
        """K above the air around it: what its losses are in proportion to."""
        return self.celsius - self.air_c


@dataclass(frozen=True, slots=True)
class Known:
    """The balance as it was known at a time: coefficients and their covariance, in power."""

    at_s: float
    theta: Floats
    cov: Floats
    load: float
    """Unknown load by then, sd as power for each kelvin above the room."""

    def per_kelvin(self, row: Floats, unit: float) -> float:
        """Power that a kelvin of the reading is worth."""
        return max(float(self.theta @ row) / float(row[0]), 0.2 * unit)


class Ages:
    """What was known at a handful of ages, the oldest always."""

    def __init__(self, most: int, least_s: float) -> None:
        """Keep `most`, spread evenly over the logarithm of ages of `least_s` and more."""
        self._most, self._least_s = most, least_s
        self._known: list[Known] = []
        self._stack()

    def _stack(self) -> None:
        known = self._known
        self.at_s: Floats = np.array([one.at_s for one in known])
        self.theta: Floats = np.array([one.theta for one in known]).reshape(-1, SIZE)
        self.load: Floats = np.array([one.load for one in known])
        self._cov: Floats = np.array([one.cov for one in known]).reshape(-1, SIZE, SIZE)

    def __getitem__(self, age: int) -> Known:
        return self._known[age]

    def add(self, now: Known) -> None:
        self._known.append(now)
        if len(self._known) > self._most:
            ages = np.log(now.at_s - self.at_s + self._least_s)
            del self._known[1 + int(np.argmin(ages[:-2] - ages[2:]))]
        self._stack()

    def spread(self, rows: Floats) -> Floats:
        """Variance of what each expects of inputs of shape (n, SIZE), shape (n, ages)."""
        # One product of two matrices is faster than one for each age.
        halves = np.dot(self._cov.reshape(-1, SIZE), rows.T).reshape(-1, SIZE, len(rows))
        found: Floats = (halves * rows.T).sum(axis=1).T
        return found


class Balance:
    """Learns one heater's balance from looks."""

    def __init__(self) -> None:
        self._power = self._warmth = 0.0
        self._base_c = math.nan
        self._slots: dict[str, int] = {}
        self._held: Floats = np.zeros(SIZE)
        self._soon_c = self._soak_c = math.nan
        self._soaked_s = math.nan
        self._before: tuple[Floats, Floats] | None = None
        """What was known before the present print: coefficients and precision."""
        self._squares = np.zeros((SIZE, SIZE))
        self._products = np.zeros(SIZE)
        self.is_switched = False
        """Whether power was ever switched on and off, and not regulated."""
        self._noise = (0.0, 0.0)
        self._load = (0.0, 0.0)
        self._pile: list[tuple[float, float]] = []
        self._last: tuple[Floats, float] | None = None
        self.known: Known | None = None

    @property
    def unit(self) -> float:
        """Power for each kelvin above the room, on the whole: what priors are shares of."""
        return self._power / self._warmth if self._warmth else 0.0

    def soak(self, celsius: float, end_s: float) -> None:
        """Follow the reading, held or not, up to `end_s`."""
        if math.isnan(celsius):
            return
        if math.isnan(self._soak_c):
            self._soon_c = self._soak_c = celsius
        else:
            spent = max(end_s - self._soaked_s, 0.0)
            self._soon_c += (1.0 - math.exp(-spent / SOON_S)) * (celsius - self._soon_c)
            self._soak_c += (1.0 - math.exp(-spent / SOAK_S)) * (celsius - self._soak_c)
        self._soaked_s = end_s

    def row(self, look: HoldLook) -> Floats:
        """The inputs of the equation, shape (SIZE,)."""
        warmth = look.warmth
        if math.isnan(self._base_c):
            self._base_c = look.celsius
        self.is_switched = self.is_switched or look.is_switched
        row = self._held
        row[0] = warmth
        row[HOTTER] = warmth * (look.celsius - self._base_c) / 100.0
        row[SLOPE], row[AIR] = look.slope, 1.0
        row[SOON], row[SOAK] = look.celsius - self._soon_c, look.celsius - self._soak_c
        for key, value in sorted(look.inputs.items()):
            # Only what is known takes a place: blocks of rows name channels that are still to come.
            if not math.isnan(value) and (slot := self._slot(key)) >= 0:
                row[slot] = value - ROOM_C if slot >= OTHER else value * warmth
        return row.copy()

    def _slot(self, key: str) -> int:
        """Where an input stands; -1 where there is no more room."""
        slot = self._slots.get(key)
        if slot is None:
            first, room = FIXED.get(key) or ((FAN, FANS) if is_fan(key) else (OTHER, OTHERS))
            taken = sum(first <= used < first + room for used in self._slots.values())
            slot = self._slots[key] = first + taken if taken < room else -1
        return slot

    def noise(self, warmth: float, looks: int) -> float:
        """Variance of the mean power of so many looks on end."""
        total, count = self._noise
        part = SWITCHED_PART if self.is_switched else NOISE_PART
        first = (part * warmth * self.unit) ** 2
        return (total + NOISE_LOOKS * first) / (count + NOISE_LOOKS) / looks

    def load(self, warmth: float) -> float:
        """Variance of the unknown load, as learned, in power."""
        total, count = self._load
        first = (LOAD_PART * warmth * self.unit) ** 2
        return (total + LOAD_MEANS * first) / (count + LOAD_MEANS)

    def learn(self, row: Floats, power: float) -> None:
        """Take a look."""
        self._power, self._warmth = self._power + power, self._warmth + float(row[0])
        if not self.unit > LEAST_UNIT:
            return
        if self.known is None:
            self.fit(math.nan, float(row[0]))
        known = self.known
        assert known is not None
        over = power - float(known.theta @ row)
        spread = float(row @ known.cov @ row)
        noise = self.noise(float(row[0]), 1)
        most = ODD * math.sqrt(noise + self.load(float(row[0])) + spread)
        kept = min(max(over, -most), most)
        power += kept - over
        self._squares += np.multiply.outer(row, row)
        self._products += row * power
        if self._last is not None:
            # Neighbours share what changes slowly: their difference is a look's own scatter.
            moved = row - self._last[0]
            apart = power - self._last[1] - float(known.theta @ moved)
            wide = 2.0 * noise + float(moved @ known.cov @ moved)
            square, part = min(apart * apart, ODD_APART * ODD_APART * wide), 2.0 * noise / wide
            total, count = self._noise
            self._noise = total + part * 0.5 * square, count + part
        self._last = row, power
        # What a look says of the unknown load, and not of coefficients that are not known yet.
        share = noise / (noise + spread)
        self._pile.append((share, share * kept))
        if len(self._pile) == LOAD_LOOKS:
            shares, sums = (math.fsum(column) for column in zip(*self._pile, strict=True))
            part, mean = shares / LOAD_LOOKS, sums / shares
            total, count = self._load
            self._load = total + part * mean * mean, count + part
            self._pile.clear()

    def redraw(self, part: float) -> None:
        """Another print begins: its flow may differ by this part of the loss."""
        if self.known is None or FEED in self._slots.values():
            return
        known = self.fit(self.known.at_s, float(self._held[0]))
        cov = known.cov.copy()
        cov[MOVING, MOVING] += (part * self.unit) ** 2
        self._before = known.theta, _inverse(cov, 1.0 / (_WIDTHS * self.unit**2))
        self._squares, self._products = np.zeros((SIZE, SIZE)), np.zeros(SIZE)

    def fit(self, at_s: float, warmth: float) -> Known:
        """What is known by now."""
        unit = self.unit
        theta, precision = self._before or (_PRIOR * unit, np.diag((_WIDTH * unit) ** -2))
        # Looks that share an unknown load are worth as many as stand apart.
        load = self.load(warmth)
        noise = self.noise(warmth, 1) + LOAD_LOOKS * load
        cov = _inverse(precision + self._squares / noise, _WIDTHS * unit * unit)
        theta = cov @ (precision @ theta + self._products / noise)
        self.known = Known(at_s, np.asarray(theta), cov, math.sqrt(load) / warmth)
        return self.known


def _inverse(matrix: Floats, sizes: Floats) -> Floats:
    """Of a symmetric matrix, worked out in the sizes of its inverse's cells: they lie far apart."""
    inverse = np.linalg.inv(matrix * sizes)
    found: Floats = 0.5 * (inverse + inverse.T) * sizes
    return found


SPEED_KEY, FEED_KEY = "motion.speed_mm_s", "motion.feed_mm_s"
FIXED = {"moving": (MOVING, 1), SPEED_KEY: (SPEED, 1), FEED_KEY: (FEED, 1)}


def is_fan(key: str) -> bool:
    """Whether an input is the speed of a fan."""
    return key.endswith(".speed")
