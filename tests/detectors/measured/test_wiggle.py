"""Which section of a cable breaks."""

import math
import random

import pytest

from detectors.measured.bench import Bench
from detectors.measured.wiggle import Wiggle
from tests.detectors.measured.rows import Ohms, fed, rows

ROOM_OHM = 109.0
SECTION_S = 30.0


def breaking(in_section: int, per_min: float, seed: int, size: float = 8.0) -> Ohms:
    """Steady Ω; half-second jumps at a rate while that section is moved (sections of 30 s)."""
    rng = random.Random(seed)
    start = SECTION_S * in_section
    at_s = [start + rng.uniform(1.5, SECTION_S - 1.0) for _ in range(round(per_min / 2.0))]

    def ohm(time_s: float) -> float:
        return ROOM_OHM + size * any(at <= time_s < at + 0.5 for at in at_s)

    return ohm


def moved(ohm: Ohms, sections: int = 5) -> tuple[Wiggle, int]:
    check = Wiggle("nozzle", Bench({}))
    bells = 0
    for number in range(sections):
        check.mark(number)
        bells += fed(
            check, rows(SECTION_S, {"nozzle": ohm}, from_s=SECTION_S * number, seed=number)
        )
    return check, bells


@pytest.mark.parametrize(
    ("section", "outcome"),
    [
        (1, "breaks-at-an-end"),
        (2, "breaks-in-the-cable"),
        (3, "breaks-in-the-cable"),
        (4, "breaks-at-an-end"),
    ],
)
def test_the_section_that_breaks_is_named(section: int, outcome: str) -> None:
    """And answers the check of the catalogue; every break rang the bell."""
    check, bells = moved(breaking(section, 20.0, seed=section))
    finding = check.progress().finding
    assert finding is not None
    assert check.sections[section].words in finding.text
    assert [(one.channel, one.check, one.outcome) for one in finding.answers] == [
        ("nozzle", "wiggle-cable", outcome)
    ]
    assert bells == check.breaks == check.sections[section].breaks
    assert 6 <= bells <= 10


def test_a_sound_cable_gives_a_bound_and_not_a_promise() -> None:
    """None in 120 s, a hand-over second of each section less: 3/n in the rule of three
    (exactly 1 − 0.05^(1/n), computed), an upper limit of about 1.55 a minute."""
    check, bells = moved(lambda _: ROOM_OHM)
    finding = check.progress().finding
    assert bells == 0
    assert finding is not None
    assert finding.answers[0].outcome == "no-break"
    seconds = sum(section.seconds for section in check.sections[1:])
    assert seconds == pytest.approx(4 * (SECTION_S - 1.0), abs=1.5)
    per_min = 60.0 * -math.log(0.05) / seconds
    assert f"fewer than {per_min:.2g} a minute" in finding.text
    assert 1.0 - 0.05 ** (1.0 / round(seconds)) == pytest.approx(per_min / 60.0, rel=0.02)


def test_before_each_section_was_moved_for_long_enough_nothing_is_said() -> None:
    check, _ = moved(lambda _: ROOM_OHM, sections=4)
    assert check.progress().finding is None
    assert "Still to do: 4" in check.progress().do


def test_breaks_everywhere_name_no_section() -> None:
    """The same rate in all sections: at most one false name in ten seeds."""
    named = 0
    for seed in range(10):
        parts = [breaking(section, 10.0, seed=10 * seed + section) for section in range(5)]
        check, _ = moved(lambda at, parts=parts: max(part(at) for part in parts))  # type: ignore[misc]
        finding = check.progress().finding
        assert finding is not None
        named += bool(finding.answers)
    assert named <= 1


def test_a_warm_hand_is_no_break() -> None:
    """A block that a hand warms by half a kelvin a second rings no bell."""
    _, bells = moved(lambda at: ROOM_OHM + 0.19 * abs(15.0 - at % 30.0))
    assert bells == 0


def test_an_open_input_counts_too() -> None:
    check, bells = moved(breaking(4, 12.0, seed=3, size=1000.0))
    finding = check.progress().finding
    assert bells >= 4
    assert finding is not None
    assert "heater block" in finding.text
