"""Plateaus, and the checks that are built on them: cold, two points, a fixed resistor."""

import math

import msgspec
import pytest

from detectors.measured.bench import Bench
from detectors.measured.cold import Cold
from detectors.measured.resistor import FixedResistor
from detectors.measured.twopoint import TwoPointCheck
from shared.chain import EXAMPLE, Chain
from shared.leads import path_ohm
from shared.platinum import ohms
from shared.twopoint import boiling_c
from tests.detectors.measured.rows import Ohms, fed, rows

THREE = msgspec.structs.replace(EXAMPLE, wires=3)
TWO = msgspec.structs.replace(EXAMPLE, wires=2)


def still(ohm: float) -> Ohms:
    return lambda _: ohm


def approach(start: float, end: float, from_s: float, tau_s: float, time_s: float) -> float:
    return end + (start - end) * math.exp(-max(time_s - from_s, 0.0) / tau_s)


def test_ice_and_boiling_water_find_two_wires() -> None:
    """IEC 60751: 100 Ω and, at 100 °C, 138.5055 Ω; the leads' two ways are added to both."""
    leads = 2.0 * path_ohm(TWO)
    check = TwoPointCheck("nozzle", Bench({"nozzle": TWO}))
    assert check.progress().do == "Choose 1 or 2."
    check.mark(1)
    assert check.progress().asks == "altitude above the sea, m"
    check.tell(0.0)
    ice, boil = ohms(0.0) + leads, ohms(boiling_c(0.0)) + leads

    def ohm(time_s: float) -> float:
        if time_s < 150.0:
            return approach(109.0, ice, 5.0, 6.0, time_s)
        return approach(ice, boil, 155.0, 6.0, time_s)

    fed(check, rows(120.0, {"nozzle": ohm}, chain=TWO))
    assert "boiling water" in check.progress().do
    assert len(check.progress().rows) == 1
    fed(check, rows(180.0, {"nozzle": ohm}, from_s=120.0, chain=TWO, seed=2))
    finding = check.progress().finding
    assert finding is not None
    assert finding.facts["finding"] == "offset"
    assert finding.facts["offset_ohm"] == pytest.approx(leads, abs=0.15)
    assert [(a.check, a.outcome) for a in finding.answers] == [("measure-lead-ohms", "explains-it")]


def test_two_resistors_find_a_wrong_reference() -> None:
    """A board with 400 Ω whose host counts with 430: 7.5 % too much at both points."""
    check = TwoPointCheck("nozzle", Bench({"nozzle": THREE}))
    check.mark(2)
    for known in (100.0, 150.0):
        check.tell(known)
        start_s = 100.0 if known > 120.0 else 0.0
        seen = known * 430.0 / 400.0
        fed(check, rows(90.0, {"nozzle": still(seen)}, from_s=start_s, chain=THREE))
    finding = check.progress().finding
    assert finding is not None
    assert finding.facts["gain"] == pytest.approx(0.075, abs=0.002)
    assert finding.answers[0].outcome == "scaled"


def test_a_reading_that_still_moves_is_no_point() -> None:
    check = TwoPointCheck("nozzle", Bench({"nozzle": THREE}))
    check.mark(1)
    check.tell(500.0)
    fed(check, rows(200.0, {"nozzle": lambda at: 101.5 - 0.005 * at}, chain=THREE))
    assert check.progress().rows == ()


def test_a_quiet_resistor_clears_the_board() -> None:
    check = FixedResistor("nozzle", Bench({"nozzle": THREE}))
    assert check.progress().asks
    check.tell(100.0)
    fed(check, rows(150.0, {"nozzle": lambda _: 100.02}, chain=THREE))
    finding = check.progress().finding
    assert finding is not None
    assert finding.answers[0].outcome == "right"
    assert finding.facts["offset_ohm"] == pytest.approx(0.02, abs=0.01)
    assert finding.facts["noise_ratio"] == pytest.approx(1.0, abs=0.3)


def test_a_fault_that_stays_with_the_resistor_is_the_boards() -> None:
    """Jumps of 4 Ω each twenty seconds."""
    check = FixedResistor("nozzle", Bench({"nozzle": THREE}))
    check.tell(100.0)
    jumping = lambda at: 100.0 + 4.0 * (at > 60.0 and at % 20.0 < 0.5)  # noqa: E731
    bells = fed(check, rows(200.0, {"nozzle": jumping}, chain=THREE))
    finding = check.progress().finding
    assert finding is not None
    assert finding.answers[0].outcome == "faulty"
    assert bells == finding.facts["faults"] == 7.0


def test_noise_that_stays_with_the_resistor_is_the_boards() -> None:
    check = FixedResistor("nozzle", Bench({"nozzle": THREE}))
    check.tell(100.0)
    fed(check, rows(150.0, {"nozzle": lambda _: 100.0}, chain=THREE, noise=lambda _: 4.0))
    finding = check.progress().finding
    assert finding is not None
    assert finding.answers[0].outcome == "faulty"


def test_a_rare_fault_is_not_gone_after_a_minute() -> None:
    """Six an hour: half an hour without one is needed for 95 % (3/6 h)."""
    check = FixedResistor("nozzle", Bench({"nozzle": THREE}), usual_per_h=6.0)
    check.tell(100.0)
    fed(check, rows(200.0, {"nozzle": lambda _: 100.0}, chain=THREE))
    early = check.progress().finding
    assert early is not None
    assert not early.answers
    assert not early.is_sure
    fed(check, rows(1700.0, {"nozzle": lambda _: 100.0}, from_s=200.0, chain=THREE))
    late = check.progress().finding
    assert late is not None
    assert late.answers[0].outcome == "right"


def cold(offsets: dict[str, float], chains: dict[str, Chain], room_c: float = 22.0) -> Cold:
    check = Cold("nozzle", Bench(chains), chains)
    rest = {name: still(ohms(room_c) + off) for name, off in offsets.items()}
    fed(check, rows(120.0, rest, chain=THREE))
    return check


def test_sensors_that_agree_cold_have_nothing_to_tell() -> None:
    chains = dict.fromkeys(("nozzle", "bed", "chamber"), THREE)
    finding = cold({"nozzle": 0.02, "bed": -0.02, "chamber": 0.0}, chains).progress().finding
    assert finding is not None
    assert finding.text.startswith("All agree")
    assert not finding.answers


def test_the_odd_one_is_named_with_its_ohms() -> None:
    """3 Ω too much on one of three."""
    chains = dict.fromkeys(("nozzle", "bed", "chamber"), THREE)
    finding = cold({"nozzle": 3.0, "bed": 0.0, "chamber": 0.0}, chains).progress().finding
    assert finding is not None
    assert "nozzle is the odd one" in finding.text
    assert finding.facts["nozzle: excess_ohm"] == pytest.approx(3.0, abs=0.1)
    assert finding.answers[0].check == "measure-lead-ohms"


def test_a_heater_that_is_on_is_not_cold() -> None:
    chains = {"nozzle": THREE, "bed": THREE}
    check = Cold("nozzle", Bench(chains), chains)
    heated = rows(
        60.0,
        {"nozzle": lambda _: 109.0, "bed": lambda _: 109.0},
        chain=THREE,
        also=lambda _: {"bed.target_c": 60.0},
    )
    fed(check, heated)
    assert any("bed: its heater is on" in row for row in check.progress().rows)
    assert check.progress().finding is None
