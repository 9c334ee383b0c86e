"""Coherence over pieces, as it is by chance."""

import numpy as np
import pytest

from detectors.stirred import IN_STEP


@pytest.mark.parametrize("pieces", [4, 8, 12])
def test_coherence_of_what_has_nothing_to_do_with_each_other_is_as_computed(pieces: int) -> None:
    """Above c with probability (1 - c)^(m - 1): checked on complex normal numbers."""
    rng = np.random.default_rng(pieces)
    one, two = rng.normal(size=(2, 20_000, pieces, 2)) @ np.array([1.0, 1j])
    together = np.abs((one.conj() * two).sum(axis=1)) ** 2
    squares = (np.abs(one) ** 2).sum(axis=1) * (np.abs(two) ** 2).sum(axis=1)
    expected = (1.0 - IN_STEP) ** (pieces - 1)
    found = float(np.mean(together > IN_STEP * squares))
    assert found == pytest.approx(expected, abs=4.0 * np.sqrt(expected / 20_000) + 1e-4)
