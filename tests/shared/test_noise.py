"""Measured noise against expectation."""

import numpy as np
import pytest

from shared.chain import Chain
from shared.converter import code_of, ohms_of
from shared.noise import NoiseCheck, expected_noise_ohm, noise_found
from shared.platinum import ohms, ratio_array
from shared.updates import Floats

CHAIN = Chain()


def _readings(noise_codes: float, count: int = 4000, heat_k_per_step: float = 0.0) -> Floats:
    """Readings of a converter with this noise, rounded to codes."""
    rng = np.random.default_rng(5)
    true = 100.0 * ratio_array(25.0 + heat_k_per_step * np.arange(count, dtype=np.float64))
    noisy = true + rng.normal(0.0, noise_codes * CHAIN.step_ohm, count)
    codes = [code_of(each, CHAIN.reference_ohm, CHAIN.bits) for each in noisy.tolist()]
    return np.array([ohms_of(code, CHAIN.reference_ohm, CHAIN.bits) for code in codes])


def checked(seen_ohm: Floats) -> NoiseCheck:
    """Readings in Ω held against the chain's expectation; NaN where there was none."""
    seen = seen_ohm[~np.isnan(seen_ohm)]
    square_ohm2 = float(np.mean(np.diff(seen) ** 2))
    return noise_found(CHAIN, len(seen), square_ohm2, float(np.median(seen)))


@pytest.mark.parametrize("heat", [0.0, 0.002])
def test_a_healthy_channel_has_the_noise_it_should(heat: float) -> None:
    """Half a code of noise and rounding, at rest or warming half a kelvin a minute."""
    found = checked(_readings(0.5, heat_k_per_step=heat))
    assert found.finding == "as expected"
    assert found.interval[0] < 1.0 < found.interval[1]
    assert found.codes == pytest.approx(np.sqrt(0.25 + 1 / 12), rel=0.06)


def test_pick_up_is_louder() -> None:
    """Four codes of noise where half a code belongs."""
    found = checked(_readings(4.0))
    assert found.finding == "louder"
    assert found.ratio == pytest.approx(4.0 / np.sqrt(0.25 + 1 / 12), rel=0.06)


def test_readings_that_never_differ_may_be_quiet_or_frozen() -> None:
    """It says that it cannot tell which."""
    found = checked(np.full(100, ohms(25.0)))
    assert found.finding == "quieter"
    assert "frozen" in found.could_not_tell


def test_few_readings_tell_nothing() -> None:
    """NaNs do not count as readings."""
    values = np.full(100, np.nan)
    values[:20] = 109.7
    found = checked(values)
    assert found.finding == "cannot tell"
    assert found.readings == 20


def test_the_expectation_joins_noise_and_rounding() -> None:
    """√(0.5² + 1/12) codes of 6.134 mΩ are 3.541 mΩ."""
    assert expected_noise_ohm(CHAIN) == pytest.approx(0.0035415, abs=1e-6)
