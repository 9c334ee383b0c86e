"""Flipped bits are told by the XOR of codes, and only where chance does not agree."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from detectors.table.bits import MOST_CHANCE, chance, flipped_bit
from shared.converter import ohms_of
from shared.platinum import celsius
from shared.updates import Batch


@pytest.mark.parametrize(("bit", "kelvin"), [(7, 4.585), (8, -9.151), (10, -36.448), (11, 74.181)])
def test_flips_at_210_degrees_have_the_computed_sizes(bit: int, kelvin: float) -> None:
    """Code 13681 at 15 bits and R_ref = 4.3 R0 (computed values)."""
    code = 13681 ^ (1 << bit)
    flipped_c, true_c = (celsius(ohms_of(each, 430.0, 15), 100.0) for each in (code, 13681))
    assert flipped_c - true_c == pytest.approx(kelvin, abs=0.01)
    assert flipped_bit(float(code), 13681.4, 2.5, 15) == bit


def test_a_jump_of_another_size_is_no_flip() -> None:
    """The right direction and nearly the right size are not enough."""
    assert flipped_bit(13681.0 + 2048 + 40, 13681.0, 3.0, 15) is None
    assert flipped_bit(13681.0 - 2048, 13681.0, 3.0, 15) is None


def test_noise_as_wide_as_the_bit_forbids_a_verdict() -> None:
    """Bit 5 is 32 codes: with a tolerance of 8 it could be anything."""
    assert flipped_bit(float(13681 ^ 32), 13681.0, 8.0, 15) is None
    assert flipped_bit(float(13681 ^ 1024), 13681.0, 200.0, 15) is None


def test_chance_agrees_as_seldom_as_is_said() -> None:
    """Codes at random agree with a flip in less than one case in a hundred (Monte Carlo)."""
    codes = np.random.default_rng(1).integers(0, 1 << 15, 20_000).astype(float)
    share = np.mean([flipped_bit(code, 13681.0, 3.0, 15) is not None for code in codes.tolist()])
    assert share < chance(3.0, 15) < MOST_CHANCE


@pytest.mark.parametrize("code", [1e-3, 0.5, 3.0, 1e9, 4e9])
def test_codes_that_no_converter_gives_end_nothing(code: float) -> None:
    """Beside ohms that fit no scale: bits stay those that a converter may have."""
    numbers = {
        "nozzle.code": np.full(400, code),
        "nozzle.resistance_ohm": 100.0 + np.linspace(0.0, 40.0, 400),
    }
    watch = Watch()
    watch.feed(Batch(np.linspace(0.0, 99.75, 400), numbers))
    watch.finish()
    assert all(event.start_s >= 0.0 for event in watch.events)
