"""Breaks, spikes, flipped bits and steps are told apart, on many hosts and heaters."""

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE, Chain
from shared.events import Event
from shared.updates import Update, batch_of
from shared.words import Kind, Severity
from tests.detectors.plant import Disturb, Plant, log_of
from tests.levels import one_in

PT1000 = Chain(r0_ohm=1000.0, reference_ohm=4020.0)
HELD = {0.0: 0.0, 20.0: 210.0}
SECONDS = 320.0
AT_S = 260.0


def events(updates: Sequence[Update], chain: Chain | None = EXAMPLE) -> list[Event]:
    """Events of what this module is about, absorbed ones left out."""
    watch = Watch({} if chain is None else {"nozzle": chain})
    watch.feed(batch_of(updates))
    watch.finish()
    wanted = {Kind.CONTACT_BREAK, Kind.SPIKE, Kind.BIT_FLIP, Kind.STEP}
    return [e for e in watch.events if e.absorbed_by is None and e.kind in wanted]


def added(ohm: float, from_s: float, for_s: float) -> Disturb:
    """Ω more at the converter for a while."""
    return lambda time_s, true: true + (ohm if from_s <= time_s < from_s + for_s else 0.0)


def flipped(bit: int, at_s: float, period_s: float, chain: Chain = EXAMPLE) -> Disturb:
    """One bit of the code flipped in one reading."""

    def disturb(time_s: float, true: float) -> float:
        if not at_s <= time_s < at_s + period_s:
            return true
        return (round(true / chain.step_ohm) ^ (1 << bit)) * chain.step_ohm

    return disturb


@pytest.mark.parametrize(
    ("period_s", "ohm", "with_code"),
    one_in(5, itertools.product((0.25, 0.5, 1.0), (3.0, 6.3, 30.0), (True, False))),
)
def test_added_ohms_for_moments_are_a_contact(period_s: float, ohm: float, with_code: bool) -> None:
    """A few ohms more for two readings or more, and back, is a contact, with its size and time."""
    plant = Plant(period_s=period_s, with_code=with_code, targets=HELD)
    for seed, for_s in enumerate((2.0, 4.0, 8.0)):
        (event,) = events(log_of(plant, SECONDS, seed, added(ohm, AT_S, for_s)))
        assert event.kind is Kind.CONTACT_BREAK
        size = ohm if with_code else ohm / EXAMPLE.r0_ohm / 3.735e-3
        assert event.value == pytest.approx(size, rel=0.25)
        assert event.start_s == pytest.approx(AT_S, abs=period_s + 1.0)
        assert event.facts["duration_s"] == pytest.approx(for_s, abs=2.0 * period_s + 1.0)


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_one_reading_up_is_a_spike_until_it_comes_again(period_s: float) -> None:
    """Single readings up are spikes; from the third in ten minutes on they are a contact."""
    plant = Plant(period_s=period_s, targets=HELD, late=0.0)
    once = events(log_of(plant, SECONDS, 1, added(8.0, AT_S, period_s)))
    assert [event.kind for event in once] == [Kind.SPIKE]

    def often(time_s: float, true: float) -> float:
        return true + (8.0 if time_s > 100.0 and time_s % 20.0 < period_s else 0.0)

    found = {event.kind: event.count for event in events(log_of(plant, SECONDS, 1, often))}
    assert found[Kind.SPIKE] == 2
    assert found[Kind.CONTACT_BREAK] >= 8


def test_an_input_open_for_one_reading_is_a_contact() -> None:
    """All the way to the open end and back within one reading is a contact that opened wholly."""
    plant = Plant(targets=HELD, late=0.0)
    (event,) = events(log_of(plant, SECONDS, 2, added(1e4, AT_S, 0.25)))
    assert event.kind is Kind.CONTACT_BREAK
    assert event.facts["full"] == 1.0
    assert "open" in event.text


def test_readings_down_and_back_are_spikes() -> None:
    """A contact adds ohms; what takes ohms away is none."""
    plant = Plant(targets=HELD, late=0.0)
    for for_s in (0.25, 1.5):
        (event,) = events(log_of(plant, SECONDS, 3, added(-9.0, AT_S, for_s)))
        assert event.kind is Kind.SPIKE
        assert event.value == pytest.approx(-9.0, rel=0.1)


WIDTHS = (12, 16, 20, 24)


@pytest.mark.parametrize(
    ("bits", "below_top", "told"),
    one_in(5, itertools.product(WIDTHS, (1, 3, 5, 7), ("told", "not told", "degrees"))),
)
def test_a_flipped_bit_is_named(bits: int, below_top: int, told: str) -> None:
    """One reading with a flipped bit is a bit-flip with that bit, for converters of any width,
    their bits told or not; from degrees where they are told."""
    bit = bits - 1 - below_top
    chain = Chain(bits=bits, rounding_c=0.001 if told == "degrees" else 0.01)
    if told == "degrees" and chain.rounding_c * 0.3735 > chain.step_ohm:
        pytest.skip("degrees are rounded to more than a code")
    if bits == 12 and (below_top == 7 or told == "degrees"):
        pytest.skip("of 4,096 codes too many agree with some flip by chance")
    if told == "degrees" and below_top == 1:
        pytest.skip("below 0 °C, where this plant's host has no formula")
    plant = Plant(
        targets=HELD,
        late=0.0,
        with_code=told != "degrees",
        chain=chain,
        rounding_c=chain.rounding_c,
    )
    known = None if told == "not told" else chain
    (event,) = events(log_of(plant, SECONDS, 4, flipped(bit, AT_S, 0.25, chain)), known)
    assert event.kind is Kind.BIT_FLIP
    assert event.facts["bit"] == float(bit)


def test_the_handbook_flips_have_their_sizes_in_degrees() -> None:
    """Bit 8 at 210 °C is −9.151 °C and bit 11 +74.181 °C (computed; 15 bits, R_ref = 4.3 R0)."""
    chain = Chain(reference_ohm=430.0, bits=15)
    for bit, kelvin in ((8, -9.151), (11, 74.181)):
        plant = Plant(targets=HELD, late=0.0, chain=chain)
        log = log_of(plant, SECONDS, 5, flipped(bit, AT_S, 0.25, chain))
        (event,) = events(log, chain)
        assert event.facts["delta_c"] == pytest.approx(kelvin, rel=0.08)


def test_without_chain_facts_degrees_do_not_give_bits() -> None:
    """Degrees of an unknown chain: a spike, and bit-flip says that it was not judged."""
    plant = Plant(targets=HELD, late=0.0, with_code=False)
    updates = log_of(plant, SECONDS, 6, flipped(11, AT_S, 0.25))
    assert [event.kind for event in events(updates, None)] == [Kind.SPIKE]
    watch = Watch({})
    watch.feed(batch_of(updates))
    assert any(blind.kind is Kind.BIT_FLIP for blind in watch.not_evaluated())


@pytest.mark.parametrize("period_s", [0.25, 1.0])
@pytest.mark.parametrize("ohm", [4.0, -4.0, 20.0, -20.0])
def test_a_jump_that_stays_is_a_step(period_s: float, ohm: float) -> None:
    """A lasting jump is one step with its size, whichever way the host then regulates."""
    plant = Plant(period_s=period_s, targets=HELD)
    found = events(log_of(plant, SECONDS, 7, added(ohm, AT_S, 1e9)))
    assert [event.kind for event in found] == [Kind.STEP]
    assert found[0].value == pytest.approx(ohm, rel=0.35)
    assert found[0].start_s == pytest.approx(AT_S, abs=period_s + 1.0)


MAKES = list(
    itertools.product(
        (0.25, 0.5, 1.0),
        ("proportional", "on-off"),
        (True, False),
        (True, False),
        (1.5, 4.0, 10.0),
    )
)


@pytest.mark.parametrize(
    ("period_s", "regulation", "with_code", "only_changes", "full_c_s"), one_in(17, MAKES)
)
def test_healthy_heaters_of_any_make_are_quiet(
    period_s: float, regulation: str, with_code: bool, only_changes: bool, full_c_s: float
) -> None:
    """Heat-ups, target changes, a fan and a cool-down give no event, however coarse the host."""
    coarse = (0.01,) if with_code else (0.1, 1.0)
    for seed, rounding_c in enumerate(coarse):
        for chain in (EXAMPLE, PT1000):
            plant = Plant(
                period_s=period_s,
                full_c_s=full_c_s,
                loss_per_s=0.003 * full_c_s,
                regulation=regulation,
                with_code=with_code,
                only_changes=only_changes,
                rounding_c=rounding_c,
                noise_c=0.0 if with_code else 0.3 * rounding_c,
                chain=chain,
            )
            watch = Watch({"nozzle": chain})
            watch.feed(batch_of(log_of(plant, 900.0, 10 + seed)))
            watch.finish()
            assert not [e for e in watch.events if e.severity is not Severity.NOTICE]


def test_bursts_both_ways_are_no_contact() -> None:
    """Noise that hits single readings up and down is spikes, also where two follow each other."""
    rng = np.random.default_rng(8)
    hits = {round(t, 2): float(rng.uniform(-9.0, 9.0)) for t in rng.uniform(150.0, 300.0, 150)}
    times = np.array(sorted(hits))

    def disturb(time_s: float, true: float) -> float:
        near = times[np.searchsorted(times, time_s - 0.25) : np.searchsorted(times, time_s)]
        return true + sum(hits[t] for t in near.tolist())

    found = {e.kind: e.count for e in events(log_of(Plant(targets=HELD), SECONDS, 9, disturb))}
    assert found[Kind.SPIKE] > 20
    assert found.get(Kind.CONTACT_BREAK, 0) <= 0.05 * found[Kind.SPIKE]


def test_a_dip_that_only_its_return_gives_away_is_a_spike_and_no_step() -> None:
    """Down by 1.95 Ω in a second may be heat lost, up again as fast at little power is none."""
    plant = Plant(period_s=1.0, targets={0.0: 0.0, 20.0: 60.0}, late=0.0)
    for seed in range(4):
        (spike,) = events(log_of(plant, SECONDS, seed, added(-1.95, AT_S, 1.0)))
        assert spike.kind is Kind.SPIKE
        assert spike.value == pytest.approx(-1.95, abs=0.2)
        assert spike.start_s == pytest.approx(AT_S, abs=0.1)


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_heat_that_is_under_way_is_no_contact(period_s: float) -> None:
    """Heat from a stuck heater at 7 K/s and no power said: fast, and yet heat all the way."""

    def stuck(time_s: float, true: float) -> float:
        since = min(max(time_s - 60.0, 0.0), 40.0)
        return true + 7.0 * 0.3735 * max(since - 2.0 * (1.0 - math.exp(-since / 2.0)), 0.0)

    plant = Plant(period_s=period_s, targets={0.0: 0.0}, late=0.0)
    assert events(log_of(plant, 140.0, 1, stuck)) == []


@pytest.mark.parametrize(("every", "held"), [(30, 3), (4, 3)])
@pytest.mark.parametrize("full_c_s", [2.0, 3.5, 5.0])
def test_a_climb_that_is_told_in_leaps_is_no_contact(
    full_c_s: float, every: int, held: int
) -> None:
    """A host that writes a reading down again before there is a new one, in a heat-up."""
    heat_up = {0.0: 0.0, 20.0: 210.0}
    plant = Plant(full_c_s=full_c_s, loss_per_s=0.006, noise_codes=0.0, targets=heat_up)
    last: list[float] = [100.0]
    count = itertools.count()

    def stale(time_s: float, true: float) -> float:
        if next(count) % every >= held or time_s < 25.0:
            last[0] = true
        return last[0]

    assert events(log_of(plant, SECONDS, 3, stale)) == []


def test_a_jump_downward_is_a_failure_and_one_upward_is_not() -> None:
    """A loop that follows a low reading heats too far (NE 107: the signal is no longer valid)."""
    plant = Plant(targets=HELD, late=0.0)
    for ohm, spike, step in (
        (-8.0, Severity.FAILURE, Severity.FAILURE),
        (8.0, Severity.MAINTENANCE_REQUIRED, Severity.OUT_OF_SPECIFICATION),
    ):
        (once,) = events(log_of(plant, SECONDS, 1, added(ohm, AT_S, plant.period_s)))
        assert (once.kind, once.severity) == (Kind.SPIKE, spike)
        (stays,) = events(log_of(plant, SECONDS, 1, added(ohm, AT_S, 1e6)))
        assert (stays.kind, stays.severity) == (Kind.STEP, step)


def test_an_event_keeps_the_worse_of_its_jumps() -> None:
    """One downward among those upward is one that a loop followed; none of them is split off."""
    plant = Plant(targets=HELD, late=0.0)

    def both(time_s: float, true: float) -> float:
        at = time_s - AT_S
        up = 8.0 * (0.0 <= at < plant.period_s)
        return true + up - 8.0 * (20.0 <= at < 20.0 + plant.period_s)

    (found,) = events(log_of(plant, SECONDS, 1, both))
    assert (found.kind, found.count, found.severity) == (Kind.SPIKE, 2, Severity.FAILURE)


@pytest.mark.parametrize("beyond", [988.0, 1372.0, 850.0, -200.0, -242.0, -273.15])
@pytest.mark.parametrize(
    "rows", [slice(0, 40), slice(1000, 1003), slice(1000, 1040), slice(-3, None)]
)
def test_degrees_beyond_the_curve_are_no_jump_there_nor_back(beyond: float, rows: slice) -> None:
    """Of degrees alone, −200 to 850 °C (IEC 60751): the limit is told, and no step of 800 K."""
    rng = np.random.default_rng(7)
    time_s = np.arange(0.0, 1200.0, 0.5)
    reading = np.round(200.0 + rng.normal(0.0, 0.05, len(time_s)), 2)
    reading[rows] = beyond
    updates = [
        Update(float(at), {"nozzle.temperature_c": float(value)})
        for at, value in zip(time_s, reading, strict=True)
    ]
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    kinds = [event.kind for event in watch.events if event.absorbed_by is None]
    end = Kind.CODE_HIGH if beyond > 0.0 else Kind.CODE_LOW
    assert kinds[:1] == [end]
    assert Kind.STEP not in kinds
    assert Kind.SPIKE not in kinds
    (event,) = [event for event in watch.events if event.kind is end]
    first = rows.start if rows.start >= 0 else len(time_s) + rows.start
    assert event.start_s == time_s[first]


def test_one_reading_a_minute_says_what_it_cannot_tell() -> None:
    """Heat may do in a minute what a step does."""
    rng = np.random.default_rng(8)
    updates = [
        Update(60.0 * n, {"room.temperature_c": round(22.0 + rng.normal(0.0, 0.05), 2)})
        for n in range(300)
    ]
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    why = {found.kind: found.why for found in watch.not_evaluated() if found.channel == "room"}
    for kind in (Kind.SPIKE, Kind.STEP, Kind.CONTACT_BREAK):
        assert why[kind].startswith("one reading in 60 s: heat may move it by")
