"""Facts of a chain that nobody told: worked out from codes beside degrees or Ω, against the truth.

The logs are made here from IEC 60751's coefficients alone: R/R0 = 1 + A t + B t² for t ≥ 0.
"""

import math
from collections.abc import Iterator

import numpy as np
import pytest

from detectors.diagnosis.verdict import SHOWS_OFF_K, verdict
from detectors.engine.watch import Watch
from detectors.table.scale import Scale, are_end_shaped, is_end_shaped, top_bits
from shared.chain import UNTOLD, Chain
from shared.chainstate import ChainState, Finding, Stage, taken
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import Kind, Severity

A, B = 3.9083e-3, -5.775e-7
WIDTHS = (12, 14, 16, 18, 20, 22, 24)


def ratio(celsius: float) -> float:
    return 1.0 + A * celsius + B * celsius * celsius


def shown_c(seen: float) -> float:
    """°C of R/R0 from 1 on."""
    return (-A + math.sqrt(A * A - 4.0 * B * (1.0 - seen))) / (2.0 * B)


def true_c(time_s: float) -> float:
    """A cold start, a heat-up, a hold with a slow wave."""
    rise = 190.0 * (1.0 - math.exp(-max(time_s - 60.0, 0.0) / 60.0))
    return 22.0 + rise + 0.3 * math.sin(time_s / 9.0)


def rows(
    reference_ohm: float,
    bits: int,
    *,
    r0_ohm: float = 100.0,
    rounding_c: float = 0.01,
    lag_s: float = 0.0,
    with_ohms: bool = False,
    with_degrees: bool = True,
    seconds: float = 500.0,
    period_s: float = 0.5,
    seed: int = 1,
) -> Iterator[Update]:
    """Codes of an element, and what a host with these settings shows of them."""
    rng = np.random.default_rng(seed)
    shown = true_c(0.0)
    for index in range(int(seconds / period_s)):
        time_s = index * period_s
        celsius = true_c(time_s) + float(rng.normal(0.0, 0.02))
        code = round(r0_ohm * ratio(celsius) / reference_ohm * 2**bits)
        seen = code * reference_ohm / 2**bits / r0_ohm
        host_c = shown_c(seen)
        shown += (host_c - shown) * (1.0 if lag_s == 0.0 else min(period_s / lag_s, 1.0))
        values: dict[str, Value] = {"nozzle.code": float(code)}
        if with_degrees:
            values["nozzle.temperature_c"] = round(shown / rounding_c) * rounding_c
        if with_ohms:
            values["nozzle.resistance_ohm"] = round(seen * r0_ohm, 3)
        yield Update(time_s, values)


def watched(updates: list[Update], chain: Chain | None = None) -> Watch:
    watch = Watch({} if chain is None else {"nozzle": chain})
    watch.feed(batch_of(updates))
    watch.finish()
    return watch


def state(watch: Watch) -> ChainState:
    (found,) = watch.chain_states()
    return found


def value(found: ChainState, key: str) -> float:
    return next(each.value for each in found.worked_out if each.key == key)


@pytest.mark.parametrize("seed", range(20))
def test_the_reference_is_worked_out_within_a_thousandth(seed: int) -> None:
    """Twenty chains drawn at random, of any width: within 0.1 %, and twice the stated
    uncertainty with what rounding may add."""
    rng = np.random.default_rng(100 + seed)
    r0_ohm = float(rng.choice([100.0, 1000.0]))
    reference_ohm = r0_ohm * float(rng.uniform(3.3, 5.2))
    bits = int(rng.choice(WIDTHS))
    rounding_c = float(rng.choice([0.01, 0.1, 0.5]))
    with_ohms = bool(rng.random() < 0.4)
    log = rows(
        reference_ohm, bits, r0_ohm=r0_ohm, rounding_c=rounding_c, with_ohms=with_ohms, seed=seed
    )
    found = state(watched(list(log)))
    scale = 1.0 if with_ohms else 100.0 / r0_ohm
    assert value(found, "step_ohm") == pytest.approx(scale * reference_ohm / 2**bits, rel=1e-3)
    assert value(found, "reference_ohm") == pytest.approx(scale * reference_ohm, rel=1e-3)
    if with_ohms:
        assert value(found, "r0_ohm") == r0_ohm


def test_a_host_that_smooths_its_degrees_is_read_right_all_the_same() -> None:
    """A lag of 3 s in the degrees, heating at 3 K/s: the holds decide."""
    found = state(watched(list(rows(412.0, 18, lag_s=3.0, seconds=900.0))))
    assert value(found, "reference_ohm") == pytest.approx(412.0, rel=4e-3)


def test_codes_alone_tell_no_reference_but_their_limits_are_found() -> None:
    """Nothing beside the code: not told; a leap to 2^n − 1 is the upper end all the same."""
    for bits in WIDTHS:
        log = list(rows(402.0, bits, with_degrees=False))
        for at in range(600, 620):
            log[at] = Update(log[at].time_s, {"nozzle.code": float(2**bits - 1)})
        watch = watched(log)
        told = " ".join(taken(state(watch)))
        assert "not told: R0, reference" in told
        (event,) = of(watch, Kind.CODE_HIGH)
        assert (event.start_s, event.value) == (300.0, 2.0**bits - 1.0)
        assert value(state(watch), "bits") == bits


def test_a_code_that_passes_a_power_of_two_is_no_end() -> None:
    """Heat passes 2^n − 1 of a wider converter: no limit is there."""
    for reference_ohm, bits in ((402.0, 16), (390.0, 12), (430.0, 15)):
        assert not of(watched(list(rows(reference_ohm, bits, with_degrees=False))), Kind.CODE_HIGH)


def test_a_log_that_begins_with_an_open_input_says_so_whatever_the_converter() -> None:
    """No code before it, and the host cuts its degrees off: the code's shape is enough."""
    for bits in WIDTHS:
        cut = {"nozzle.code": float(2**bits - 1), "nozzle.temperature_c": 400.0}
        log = [Update(index * 0.5, dict(cut)) for index in range(40)]
        log += [Update(20.0 + row.time_s, row.values) for row in rows(402.0, bits)]
        (event,) = of(watched(log), Kind.CODE_HIGH)
        assert event.start_s == 0.0
        assert event.facts["first_reading"] == 1.0


def test_an_open_input_without_facts_is_not_frozen_too() -> None:
    """It stands still at the end of its range, whatever the loop does."""
    for with_code in (True, False):
        log = []
        for n in range(240):
            values: dict[str, Value] = {
                "nozzle.temperature_c": 889.65 if not with_code else 400.0,
                "nozzle.power": 0.2 + 0.5 * (n // 30 % 2),
                "nozzle.target_c": 210.0,
            }
            log.append(Update(n * 0.5, values | ({"nozzle.code": 1048575.0} if with_code else {})))
        watch = watched(log)
        assert of(watch, Kind.CODE_HIGH)
        assert not of(watch, Kind.FROZEN)


@pytest.mark.parametrize("host_ohm", [391.0, 433.0])
def test_a_host_that_reckons_otherwise_than_the_facts_is_told_though_no_event_is(
    host_ohm: float,
) -> None:
    """412 Ω fitted, as the profile tells; the host shows by another: low, and the heat has to stop;
    high, and it is out of specification."""
    log = []
    for row in rows(412.0, 16):
        code = row.values["nozzle.code"]
        assert isinstance(code, float)
        shown = {"nozzle.temperature_c": shown_c(max(code * host_ohm / 2**16 / 100.0, 1.0))}
        log.append(Update(row.time_s, {**row.values, **shown}))
    chain = Chain(
        reference_ohm=412.0,
        bits=16,
        wires=4,
        lead_m=0.0,
        told=("r0_ohm", "reference_ohm", "bits", "wires", "lead_m"),
    )
    watch = watched(log, chain)
    found = verdict(watch.events, [], chains=watch.chain_states())
    is_low = host_ohm < 412.0
    assert ("too low" if is_low else "too high") in found.text
    assert found.severity is (Severity.FAILURE if is_low else Severity.OUT_OF_SPECIFICATION)
    assert bool(found.stop) is is_low
    right = verdict([], [], chains=watched(list(rows(412.0, 16)), chain).chain_states())
    assert right.severity is Severity.NOTICE


@pytest.mark.parametrize("wrong_s", [8.0, 20.0])
def test_degrees_that_are_off_for_a_moment_say_nothing_of_the_settings(wrong_s: float) -> None:
    """A contact leaves degrees and codes apart while it is bad: at 18 s, or at the end."""
    log = list(rows(412.0, 16))
    chain = Chain(
        reference_ohm=412.0, bits=16, wires=4, lead_m=0.0, told=("r0_ohm", "reference_ohm", "bits")
    )
    for begins_s in (18.0, log[-1].time_s - wrong_s):
        seen = [
            Update(row.time_s, {**row.values, "nozzle.temperature_c": 214.8})
            if begins_s <= row.time_s < begins_s + wrong_s
            else row
            for row in log
        ]
        (found,) = watched(seen, chain).chain_states()
        assert not abs(found.shows_off_k) >= SHOWS_OFF_K


def test_degrees_beyond_the_curve_are_a_limit_from_the_first_sample() -> None:
    """No element shows more than 850 °C or less than −200 (IEC 60751), code or none."""
    for beyond_c, kind in ((986.0, Kind.CODE_HIGH), (-247.0, Kind.CODE_LOW)):
        for first in (0, 37, 99):
            log = [Update(i * 0.5, {"nozzle.temperature_c": 25.0 + i % 3}) for i in range(100)]
            log[first] = Update(log[first].time_s, {"nozzle.temperature_c": beyond_c})
            (event,) = of(watched(log), kind)
            assert event.start_s == log[first].time_s


def test_stale_degrees_beside_the_first_codes_do_not_set_the_scale_for_good() -> None:
    """A host that shows 25 °C until its first conversion is done: later pairs correct it."""
    log = []
    for row in rows(402.0, 16):
        early = row.time_s < 30.0
        degrees = {"nozzle.temperature_c": 180.0} if early else {}
        log.append(Update(row.time_s, {**row.values, **degrees}))
    found = state(watched(log))
    assert value(found, "reference_ohm") == pytest.approx(402.0, rel=1e-3)


def test_a_host_that_is_set_otherwise_meanwhile_is_found() -> None:
    """From 300 s on it reckons with 432 Ω where it had reckoned with 402."""
    log = []
    for row in rows(402.0, 16):
        code = row.values["nozzle.code"]
        assert isinstance(code, float)
        otherwise: dict[str, Value] = {
            "nozzle.temperature_c": shown_c(code * 432.0 / 2**16 / 100.0)
        }
        values = {**row.values, **otherwise} if row.time_s >= 300.0 else row.values
        log.append(Update(row.time_s, values))
    host = next(each for each in state(watched(log)).stages if each.stage is Stage.HOST)
    assert host.finding is Finding.OFF
    assert "was changed" in host.why


def test_codes_of_a_divider_are_not_taken_for_a_reference() -> None:
    """R/(R + 1 kΩ): no constant times R, so nothing of the converter is worked out or off."""
    log = []
    for index in range(1200):
        celsius = true_c(index * 0.5)
        ohm = 100.0 * ratio(celsius)
        code = round(ohm / (ohm + 1000.0) * 4096 * 16)
        values: dict[str, Value] = {
            "nozzle.code": float(code),
            "nozzle.temperature_c": round(celsius, 2),
        }
        log.append(Update(index * 0.5, values))
    watch = watched(log)
    found = state(watch)
    assert not found.worked_out
    assert all(each.finding is not Finding.OFF for each in found.stages)
    assert "not told: R0, reference, bits" in " ".join(taken(found))


def test_what_a_profile_tells_is_not_worked_out() -> None:
    """Told facts stand, and the others are worked out beside them."""
    chain = Chain(bits=16, wires=3, told=("bits", "wires"))
    found = state(watched(list(rows(412.0, 16)), chain))
    assert {each.key for each in found.worked_out} == {"step_ohm", "reference_ohm"}
    assert found.chain.wires == 3
    assert found.knows("bits", "reference_ohm", "wires")
    assert not found.knows("lead_m")


def test_the_scale_is_the_same_row_by_row_and_at_once() -> None:
    """Random codes, Ω and degrees, gaps and ends among them: the same to the last bit."""
    rng = np.random.default_rng(7)
    for _ in range(200):
        n = int(rng.integers(1, 60))
        code = rng.choice([0.0, 255.0, 17000.0, 17010.0, 30000.0, 65535.0, np.nan], n)
        ohm = rng.choice([np.nan, np.nan, 104.0, 185.0, 1040.0], n)
        degrees = rng.choice([np.nan, 10.0, 25.0, 210.0, 900.0], n)
        chain = Chain(told=("bits", "reference_ohm")) if rng.random() < 0.3 else UNTOLD
        singly, at_once = Scale(chain), Scale(chain)
        columns = code.tolist(), ohm.tolist(), degrees.tolist()
        one = [singly.row(*row) for row in zip(*columns, strict=True)]
        all_ = at_once.rows(code, ohm, degrees)
        assert np.array_equal(one, all_, equal_nan=True)
        assert singly.r0_ohm == at_once.r0_ohm


def test_ends_are_known_by_their_shape() -> None:
    """0 and 2^n − 1 from 8 bits on, shifted left or not."""
    assert [top_bits(code) for code in (255, 4095, 65535, 65534, 2**24 - 1)] == [8, 12, 16, 15, 24]
    assert all(top_bits(code) is None for code in (0, 127, 254, 65533, 40000))
    codes = np.array([0.0, 255.0, 65534.0, 65533.0, 3.5, -1.0, np.nan, 2.0**24 - 1.0])
    shaped = [is_end_shaped(code) for code in codes.tolist()]
    assert shaped == [True, True, True, False, False, False, False, True]
    assert are_end_shaped(codes).tolist() == shaped


def of(watch: Watch, kind: Kind) -> list[Event]:
    return [event for event in watch.events if event.kind is kind]
