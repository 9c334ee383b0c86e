"""Motion: a carriage that lays layers on a print area, in straight moves."""

import math
import random

LAYER_S = 35.0
PAUSE_S = 1.5
LAYER_MM = 0.2
AREA_MM = (30.0, 190.0)
"""Lowest and highest x and y of a print."""
TRAVEL = 0.35
"""Share of a print's fastest speed that the slowest moves have."""


class Carriage:
    """Position and speed at a time; moves only while `is_printing`."""

    __slots__ = ("_aim", "_layer_s", "_pause_s", "_rng", "is_printing", "mm_s", "rate_mm_s", "xyz")

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self.xyz = [AREA_MM[0], AREA_MM[0], 10.0]
        self._aim = (AREA_MM[0], AREA_MM[0])
        self._layer_s = 0.0
        self._pause_s = 0.0
        self.is_printing = False
        self.mm_s = 100.0
        self.rate_mm_s = 0.0

    @property
    def is_moving(self) -> bool:
        return self.rate_mm_s > 0.0

    def begin(self) -> None:
        """Begin a print: down to the first layer."""
        self.is_printing = True
        self.xyz[2] = LAYER_MM
        self._layer_s = self._pause_s = 0.0

    def end(self) -> None:
        self.is_printing = False
        self.rate_mm_s = 0.0

    def step(self, step_s: float) -> None:
        if not self.is_printing:
            return
        if self._pause_s > 0.0:
            self._pause_s -= step_s
            return
        self._layer_s += step_s
        if self._layer_s >= LAYER_S:
            self._layer_s = 0.0
            self._pause_s = PAUSE_S
            self.xyz[2] = round(self.xyz[2] + LAYER_MM, 3)
            self.rate_mm_s = 0.0
            return
        x, y = self.xyz[0], self.xyz[1]
        across, along = self._aim[0] - x, self._aim[1] - y
        left = math.hypot(across, along)
        if left < 1e-9 or self.rate_mm_s == 0.0:
            self._turn()
            return
        part = min(self.rate_mm_s * step_s / left, 1.0)
        self.xyz[0] = x + across * part
        self.xyz[1] = y + along * part
        if part == 1.0:
            self._turn()

    def _turn(self) -> None:
        """Aim at the next corner: mostly across x, as the fill of a part does."""
        low, high = AREA_MM
        rng = self._rng
        toward_high = self.xyz[0] < (low + high) / 2
        x = rng.uniform(0.6, 1.0) if toward_high else rng.uniform(0.0, 0.4)
        y = min(max(self.xyz[1] + rng.uniform(-40.0, 40.0), low), high)
        self._aim = (low + x * (high - low), y)
        self.rate_mm_s = self.mm_s * rng.uniform(TRAVEL, 1.0)
