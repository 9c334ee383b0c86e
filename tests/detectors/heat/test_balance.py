"""The balance of heat of a held heater, against a heater whose balance is known."""

import numpy as np
import pytest

from detectors.heat.balance import FEED_KEY, MOVING, SOAK_S, Balance, HoldLook, Known

FULL_W, LOSS_W_K, FAN_W_K, FEED_J_MM_K = 50.0, 0.09, 0.02, 0.0054
"""A heater of 50 W that loses 90 mW/K, 20 mW/K more at full fan; 1.75 mm filament takes along
2.4 mm² · 1.24 mg/mm³ · 1.8 J/gK."""


def look(
    number: int,
    rng: np.random.Generator,
    *,
    air_c: float = 25.0,
    reads_low_k: float = 0.0,
    target_c: float = 210.0,
) -> HoldLook:
    """A minute's hold with a fan and a feed of any size, and a tenth of a kelvin of noise."""
    fan, feed, slope = rng.uniform(0.0, 1.0), rng.uniform(0.0, 4.0), rng.normal(0.0, 0.002)
    hot_k = target_c + reads_low_k - air_c
    watts = (LOSS_W_K + FAN_W_K * fan + FEED_J_MM_K * feed) * hot_k + 18.0 * slope
    return HoldLook(
        start_s=60.0 * number,
        end_s=60.0 * number + 60.0,
        power=float(watts + rng.normal(0.0, 0.1 * LOSS_W_K)) / FULL_W,
        celsius=target_c,
        slope=float(slope),
        is_switched=False,
        air_c=25.0,
        has_air=True,
        inputs={"fan.speed": fan, FEED_KEY: feed, "moving": 1.0, "chamber": air_c},
    )


def learned(looks: list[HoldLook]) -> tuple[Balance, Known]:
    balance = Balance()
    for one in looks:
        balance.soak(one.celsius, one.end_s)
        balance.learn(balance.row(one), one.power)
        if len(balance._pile) in (0, 5):
            balance.fit(one.end_s, one.celsius - 25.0)
    known = balance.fit(looks[-1].end_s, looks[-1].celsius - 25.0)
    return balance, known


@pytest.mark.parametrize("seed", range(3))
def test_what_a_reading_is_low_by_is_left_over_in_kelvin(seed: int) -> None:
    """Half an hour of any fan and feed teaches their shares; 8 K show to a kelvin."""
    rng = np.random.default_rng(seed)
    balance, known = learned([look(k, rng) for k in range(30)])
    for size_k in (0.0, 8.0):
        off = []
        for k in range(30, 40):
            one = look(k, rng, reads_low_k=size_k)
            row = balance.row(one)
            off.append((one.power - known.theta @ row) / known.per_kelvin(row, balance.unit))
        assert np.mean(off) == pytest.approx(size_k, abs=1.0)


def test_deviations_cover_what_was_not_seen_yet() -> None:
    """Learned without fan and feed, it is off once they run, and says by how much it may be."""
    rng = np.random.default_rng(4)
    still = [look(k, np.random.default_rng(5)) for k in range(20)]
    balance, known = learned(still)
    for k in range(20, 40):
        one = look(k, rng)
        row = balance.row(one)
        off = one.power - float(known.theta @ row)
        spread = float(row @ known.cov @ row) + balance.noise(row[0], 1) + balance.load(row[0])
        assert abs(off) < 3.0 * np.sqrt(spread)


def test_colder_air_is_told_from_a_slip_once_a_channel_showed_what_air_does() -> None:
    """The chamber goes up and down by 15 K for two hours; then it falls by 20 K."""
    rng = np.random.default_rng(6)
    looks = [look(k, rng, air_c=35.0 + 15.0 * np.sin(k / 5.0)) for k in range(120)]
    balance, known = learned(looks)
    row = balance.row(one := look(120, rng, air_c=15.0))
    per_kelvin = known.per_kelvin(row, balance.unit)
    off_k = (one.power - known.theta @ row) / per_kelvin
    assert off_k == pytest.approx(0.0, abs=4.0)
    assert abs(off_k) < 3.0 * np.sqrt(row @ known.cov @ row) / per_kelvin


def test_another_print_may_flow_otherwise_and_the_rest_stays_known() -> None:
    rng = np.random.default_rng(7)
    looks = [look(k, rng) for k in range(30)]
    for one in looks:
        del one.inputs[FEED_KEY]
    balance, known = learned(looks)
    balance.redraw(0.1)
    again = balance.fit(1800.0, 185.0)
    width = np.sqrt(np.diag(again.cov)) / np.sqrt(np.diag(known.cov))
    assert width[MOVING] > 1.2
    assert np.sqrt(again.cov[MOVING, MOVING]) > 0.1 * balance.unit
    assert np.delete(width, MOVING) == pytest.approx(1.0, abs=0.05)


def test_what_is_around_a_heater_follows_it() -> None:
    """1 − 1/e of a step after the time constant, however the time is cut."""
    for cuts in (1, 7, 200):
        balance = Balance()
        balance.soak(25.0, 0.0)
        for k in range(1, cuts + 1):
            balance.soak(225.0, SOAK_S * k / cuts)
        assert balance._soak_c == pytest.approx(25.0 + 200.0 * (1.0 - np.exp(-1.0)))
