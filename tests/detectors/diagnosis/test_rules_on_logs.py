"""The trade's rules of thumb, on whole logs of another physics than the simulated host's.

Source: common practice of the trade, without a published source; the rules are those of
the project's reference values. `test_rules_of_thumb.py` holds them on events alone.
"""

import math

import numpy as np

from detectors.diagnosis import diagnose, verdict
from detectors.engine.watch import Watch
from shared.chain import Chain
from shared.events import RankedCause, Verdict
from shared.updates import batch_of
from shared.words import Cause, Severity
from tests.detectors.diagnosis.handmade import (
    COLD_S,
    REST_S,
    Machine,
    Story,
    limit_flags,
    log_of,
)
from tests.detectors.diagnosis.stories import broken, pickup, settling

WIRING_OR_BOARD = {
    Cause.BROKEN_LEAD,
    Cause.LOOSE_CONNECTION,
    Cause.WIRE_COUNT_SETTING,
    Cause.BUS_WIRING,
}
PLUGGED = Chain(wires=3)
FLYING = Chain(wires=3, bus="flying", bus_m=0.4)


def judged(
    story: Story, chain: Chain = PLUGGED, end_s: float = REST_S
) -> tuple[list[RankedCause], Verdict]:
    """Causes of the nozzle, and the verdict on the log."""
    chains = {"nozzle": chain, "bed": PLUGGED, "chamber": PLUGGED}
    watch = Watch(chains)
    watch.feed(batch_of(log_of(story, "full", end_s=end_s)))
    watch.finish()
    causes = diagnose(watch.events, chains)
    return [cause for cause in causes if cause.channel == "nozzle"], verdict(watch.events, causes)


def sometimes(machine: Machine, share: float) -> bool:
    """By chance, but the same at every call of one moment."""
    return float(np.random.default_rng(round(machine.time_s * 10)).random()) < share


def test_open_before_the_first_reading_is_wiring_or_board_first() -> None:
    """A log that begins with an open input."""

    def wire(machine: Machine, channel: str, ohm: float, rng: np.random.Generator) -> float:
        return math.inf if channel == "nozzle" else ohm

    causes, found = judged(Story(wire=wire), end_s=COLD_S)
    assert causes[0].cause in WIRING_OR_BOARD
    assert sum(cause.probability for cause in causes if cause.cause in WIRING_OR_BOARD) > 0.9
    assert found.severity is Severity.FAILURE


def test_faults_only_once_it_prints_are_filter_or_cable_first() -> None:
    """Both lead, and the chain's facts say which of the two."""
    causes, _ = judged(pickup(2.0), Chain(wires=3, capacitance_nf=100.0, lead_m=1.0))
    assert {cause.cause for cause in causes[:2]} == {Cause.INPUT_FILTER, Cause.CABLE_PICKUP}
    large = Chain(wires=3, capacitance_nf=470.0, lead_m=2.2)
    assert judged(pickup(2.0), large)[0][0].cause is Cause.CABLE_PICKUP


def test_faults_where_the_cable_bends_are_the_lead() -> None:
    """Only beyond one place of the carriage's way."""
    assert judged(broken())[0][0].cause is Cause.BROKEN_LEAD


def test_absurd_readings_that_settle_after_a_restart_are_a_notice_only() -> None:
    """The heat was not cut, and it does not come again: nothing to repair."""
    causes, found = judged(settling())
    assert causes[0].cause is Cause.SETTLING_AFTER_RESTART
    assert found.severity is Severity.NOTICE
    assert "no fault found" in found.text


def test_not_connected_flags_with_flying_bus_wires_are_the_bus_first() -> None:
    """The converter does not answer now and then: zeros, and the host's flag."""

    def code(machine: Machine, channel: str, code: int, rng: np.random.Generator) -> int | None:
        return 0 if channel == "nozzle" and sometimes(machine, 0.01) else code

    def flags(machine: Machine, channel: str, code: int) -> str:
        return "not-connected" if channel == "nozzle" and code == 0 else "none"

    assert judged(Story(code=code, flags=flags), FLYING)[0][0].cause is Cause.BUS_WIRING


def test_voltage_flags_are_wiring_then_filter() -> None:
    """Flags at rest and in motion alike, on readings that are right."""

    def flags(machine: Machine, channel: str, code: int) -> str:
        if channel == "nozzle" and sometimes(machine, 0.01):
            return "input-out-of-range"
        return limit_flags(machine, channel, code)

    causes, _ = judged(Story(flags=flags))
    order = [cause.cause for cause in causes]
    assert order[0] in (Cause.LOOSE_CONNECTION, Cause.BROKEN_LEAD)
    assert Cause.INPUT_FILTER in order[1:4]
