"""What stops the heat leads every headline, and every cause says what comes first."""

import pytest

from detectors.diagnosis import diagnose, verdict
from detectors.diagnosis.causes import FIRST_LINES, SWITCH_OFF
from detectors.diagnosis.verdict import PULL_THE_PLUG, stop_line
from shared.events import Event, RankedCause
from shared.words import Cause, Gate, Kind, Severity
from tests.detectors.diagnosis.found import PLUGGED, event

UNPOWERED = event(Kind.RISE_UNPOWERED, channel="bed", value=12.0, gate=Gate.COLD)


def headline(*events: Event) -> tuple[Severity, str]:
    found = verdict(events, diagnose(events, {"nozzle": PLUGGED, "bed": PLUGGED}))
    assert found.text.startswith(found.stop)
    return found.severity, found.text


def test_a_heater_on_by_itself_is_unplugged_first_whatever_else_is_wrong() -> None:
    """A command does not reach a switch that has failed closed."""
    other = event(Kind.CODE_HIGH, end_s=None, first_reading=1.0)
    severity, text = headline(other, UNPOWERED)
    assert severity is Severity.FAILURE
    assert text.startswith(f"bed: {PULL_THE_PLUG}; bed: heater circuit")
    assert "nozzle: broken lead" in text


def test_a_heater_on_by_itself_is_never_heated_to_see() -> None:
    """No check that heats, or runs on with the machine, for any cause that is named."""
    causes = diagnose([UNPOWERED], {"bed": PLUGGED})
    proposed = {cause.next_check.name for cause in causes if cause.next_check is not None}
    assert proposed
    assert not proposed & {"watch-cold-heat-up", "loads-off-on", "check-supply-volts"}
    assert not any("set 50" in c.next_check.do for c in causes if c.next_check is not None)


def test_after_heat_without_power_the_switch_is_looked_at_unpowered_first() -> None:
    """Its outcomes fit a switch or relay that failed closed; nothing of mains is measured."""
    leading = diagnose([UNPOWERED], {"bed": PLUGGED})[0]
    assert leading.cause is Cause.HEATER_CIRCUIT
    assert leading.next_check is not None
    assert leading.next_check.name == "measure-heater-switch"
    assert "failed closed → heater circuit" in leading.next_check.look_for
    plain = diagnose([event(Kind.NO_RISE)], {})[0].next_check
    assert plain is not None
    assert plain.name != "measure-heater-switch"


@pytest.mark.parametrize(
    "found",
    [
        event(Kind.NO_RISE),
        event(Kind.DRIFT, power_excess=0.3),
        event(Kind.SPIKE, count=4, value=-3.0, positive_share=0.0),
        event(Kind.STEP, count=3, value=-3.0),
        event(Kind.CODE_LOW, count=3),
        event(Kind.OFFSET_COLD, offset_c=-6.0),
    ],
    ids=lambda each: each.kind,
)
def test_a_reading_that_is_low_switches_the_heater_off(found: Event) -> None:
    """Against its power, at its lower end, low at rest, or in falls that come again."""
    assert headline(found)[1].startswith(f"nozzle: {SWITCH_OFF}; nozzle: ")


@pytest.mark.parametrize(
    "found",
    [
        event(Kind.DRIFT, power_excess=-0.3),
        event(Kind.SPIKE, count=40, value=3.0, positive_share=0.6),
        event(Kind.SPIKE, count=2, value=-3.0, positive_share=0.0),
        event(Kind.OFFSET_COLD, offset_c=6.0),
        event(Kind.MAINS_BEAT),
        event(Kind.STALE),
    ],
)
def test_what_is_not_low_stops_nobody(found: Event) -> None:
    """A stop line that is always there is read by nobody."""
    assert stop_line([found]) == ""


def test_a_sensor_that_most_likely_left_its_seat_stops_the_heat() -> None:
    """From half of the probability on."""

    def seated(probability: float) -> RankedCause:
        return RankedCause(
            channel="nozzle",
            cause=Cause.SENSOR_SEATING,
            probability=probability,
            evidence_for=(),
            evidence_against=(),
            next_check=None,
        )

    assert stop_line([], seated(0.6)) == SWITCH_OFF
    assert stop_line([], seated(0.4)) == ""


def test_every_cause_says_what_comes_first_and_what_can_hurt() -> None:
    """Where wiring or heat is touched, unplugged or licensed; else what may go wrong."""
    assert set(FIRST_LINES) == set(Cause)
    for cause, (first, caution) in FIRST_LINES.items():
        assert first, cause
        assert caution, cause
        assert len(first) <= 2 * 69, cause
    assert "pull the plug" in FIRST_LINES[Cause.HEATER_CIRCUIT][0]
