"""The third physics keeps to handbook values and to its own labels."""

from pathlib import Path

import numpy as np
import pytest

from tests.quality.otherwise.bench import false_alarms, recall
from tests.quality.otherwise.heat import Control, Disturbance, Plant, run
from tests.quality.otherwise.log import platinum_celsius, platinum_ohm

PUBLISHED = {-100.0: 60.25584, 0.0: 100.0, 100.0: 138.5055, 200.0: 175.856, 400.0: 247.092}
"""Pt100, Ω at °C: IEC 60751."""


@pytest.mark.parametrize(("celsius", "ohm"), list(PUBLISHED.items()))
def test_its_platinum_is_the_standard_s(celsius: float, ohm: float) -> None:
    """IEC 60751, exact values, both ways."""
    assert platinum_ohm(np.array([celsius]), 100.0)[0] == pytest.approx(ohm, abs=1e-6)
    assert platinum_celsius(np.array([ohm]), 100.0)[0] == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize("kind", ["pid", "relay", "model"])
def test_a_held_heater_takes_what_it_loses(kind: str) -> None:
    """Energy in is energy out over the last half of a long hold."""
    n, step_s = 16000, 0.25
    zero, room = np.zeros(n), np.full(n, 20.0)
    plant = Plant(40.0, 3.0, 15.0, 3.0, 0.05, 1e-3, 2.0)
    calm = Disturbance(
        zero, zero, zero, np.full(n, np.nan), np.zeros(n, bool), zero, np.ones(n), zero
    )
    control = Control(kind, 0.5 if kind == "relay" else 12.0, 60.0, 2.0)
    course = run(plant, control, np.full(n, 210.0), room, zero, zero, zero, calm, step_s)
    half = slice(n // 2, None)
    lost = plant.power_for(float(course.true_c[half].mean()), 20.0)
    assert course.true_c[half].mean() == pytest.approx(210.0, abs=1.5)
    assert course.given[half].mean() == pytest.approx(lost, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["contact-break", "code-high", "halt", "link-loss"])
def test_a_fault_is_labelled_and_found(kind: str, tmp_path: Path) -> None:
    """From the labels through the file to the event."""
    assert recall(kind, 9000, tmp_path) == (1, [])


@pytest.mark.slow
def test_a_healthy_log_is_silent(tmp_path: Path) -> None:
    """One drawn machine, some hours."""
    hours, alarms, _ = false_alarms(209, tmp_path)
    assert hours > 3.0
    assert not alarms
