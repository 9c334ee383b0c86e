"""Motion: what the carriage says of its speed is what its positions show."""

import math
import random

import pytest

from client.simulated.carriage import AREA_MM, LAYER_MM, Carriage


def test_speed_is_the_way_over_the_time() -> None:
    """Between two turns the way made is the speed times the step."""
    carriage = Carriage(random.Random(1))
    carriage.begin()
    straight = 0
    for _ in range(4000):
        before, rate = carriage.xyz[:2], carriage.rate_mm_s
        carriage.step(0.05)
        way = math.dist(before, carriage.xyz[:2])
        if carriage.rate_mm_s == rate > 0.0:
            assert way == pytest.approx(rate * 0.05, abs=1e-9)
            straight += 1
        assert way <= max(rate, carriage.rate_mm_s) * 0.05 + 1e-9
    assert straight > 2000


def test_a_print_stays_on_its_area_and_rises_by_layers() -> None:
    """x and y within the area, z in whole layers, and it pauses between them."""
    carriage = Carriage(random.Random(2))
    carriage.begin()
    heights, pauses, furthest = set(), 0, 0.0
    for _ in range(8000):
        carriage.step(0.05)
        heights.add(carriage.xyz[2])
        pauses += not carriage.is_moving
        furthest = max(furthest, carriage.xyz[0])
        assert all(AREA_MM[0] <= value <= AREA_MM[1] for value in carriage.xyz[:2])
    assert heights == {round(LAYER_MM * n, 3) for n in range(1, len(heights) + 1)}
    assert len(heights) > 8
    assert 100 < pauses < 800
    assert furthest > 180.0


def test_a_carriage_at_rest_stays() -> None:
    """No print, no motion."""
    carriage = Carriage(random.Random(3))
    before = list(carriage.xyz)
    carriage.step(1.0)
    assert (carriage.xyz, carriage.is_moving) == (before, False)
