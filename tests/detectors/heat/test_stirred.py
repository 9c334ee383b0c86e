"""Coherence over pieces, as it is by chance."""

import numpy as np
import pytest

from detectors.heat.stirred import IN_STEP, coherence


@pytest.mark.parametrize("pieces", [4, 8, 12])
def test_coherence_of_what_has_nothing_to_do_with_each_other_is_as_computed(pieces: int) -> None:
    """Above c with probability (1 - c)^(m - 1): checked on complex normal numbers."""
    rng = np.random.default_rng(pieces)
    one, two = rng.normal(size=(2, 20_000, pieces, 2)) @ np.array([1.0, 1j])
    found = np.mean([coherence(*pair) > IN_STEP for pair in zip(one, two, strict=True)])
    expected = (1.0 - IN_STEP) ** (pieces - 1)
    assert found == pytest.approx(expected, abs=4.0 * np.sqrt(expected / 20_000) + 1e-4)


def test_what_follows_with_a_lag_and_another_size_is_wholly_explained() -> None:
    rng = np.random.default_rng(1)
    moved = rng.normal(size=(8, 2)) @ np.array([1.0, 1j])
    assert coherence(moved, moved * (0.3 - 0.4j)) == pytest.approx(1.0)
    assert coherence(moved, 0.0 * moved) == 0.0
