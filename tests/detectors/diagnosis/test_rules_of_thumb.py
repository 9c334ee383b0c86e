"""The trade's rules of thumb hold.

Source: common practice of the trade, without a published source; the rules are those of
the project's reference values.
"""

from typing import Any

import pytest

from detectors.diagnosis import diagnose
from shared.chain import Chain
from shared.events import Event, RankedCause
from shared.words import Cause, Gate, Kind
from tests.detectors.diagnosis.found import (
    FLYING,
    LARGE_FILTER,
    PLUGGED,
    TWO_WIRES,
    event,
    ranked,
)

MOVING: dict[str, Any] = {"gate": Gate.PRINTING, "moving": 1.0}


def leading(causes: list[RankedCause], count: int = 1) -> list[Cause | None]:
    return [cause.cause for cause in causes[:count]]


def test_open_before_the_first_reading_points_to_wiring_or_board() -> None:
    """A fault that was there before any good reading is wiring, or the board's setting."""
    causes = ranked(
        event(Kind.CODE_HIGH, end_s=None, gate=Gate.STARTING, first_reading=1.0),
        event(Kind.CONVERTER_FLAG, end_s=None, gate=Gate.STARTING, flags="open"),
    )
    assert leading(causes) == [Cause.BROKEN_LEAD]
    board_or_wiring = {
        Cause.BROKEN_LEAD,
        Cause.LOOSE_CONNECTION,
        Cause.WIRE_COUNT_SETTING,
        Cause.BUS_WIRING,
    }
    assert sum(c.probability for c in causes if c.cause in board_or_wiring) > 0.75


def test_noise_only_once_it_prints_points_to_filter_or_cable_first() -> None:
    """Spikes of either sign and noise that begin with a print are pick-up."""
    causes = ranked(
        event(Kind.SPIKE, count=20, positive_share=0.5, **MOVING),
        event(Kind.INTERFERENCE, tied_to="motion", gate=Gate.PRINTING),
    )
    assert set(leading(causes, 2)) == {Cause.INPUT_FILTER, Cause.CABLE_PICKUP}
    assert sum(cause.probability for cause in causes[:2]) > 0.8


def test_a_small_filter_comes_before_the_cable_and_a_large_one_after() -> None:
    """What the inputs already have decides which of the two is the likelier."""
    found = (event(Kind.INTERFERENCE, tied_to="motion", gate=Gate.PRINTING),)
    assert leading(ranked(*found, chain=PLUGGED)) == [Cause.INPUT_FILTER]
    long_cable = Chain(wires=3, capacitance_nf=470.0, lead_m=2.0)
    assert leading(ranked(*found, chain=long_cable)) == [Cause.CABLE_PICKUP]


def test_breaks_at_one_place_of_the_carriage_point_to_the_lead() -> None:
    """A break inside a cable opens where the cable bends most."""
    placed = ranked(event(Kind.CONTACT_BREAK, tied_to="motion.x_mm", count=12, full=1.0, **MOVING))
    anywhere = ranked(event(Kind.CONTACT_BREAK, full=0.2, count=12, **MOVING))
    assert leading(placed) == [Cause.BROKEN_LEAD]
    assert leading(anywhere) == [Cause.LOOSE_CONNECTION]


def test_absurd_readings_that_settle_after_a_restart_are_settling() -> None:
    """They are harmless and don't recur in mid-print."""
    causes = ranked(
        event(Kind.RESTART, channel="*", start_s=95.0, end_s=95.0),
        event(Kind.STARTUP_TRANSIENT, settled_s=32.0),
    )
    assert leading(causes) == [Cause.SETTLING_AFTER_RESTART]
    assert causes[0].probability > 0.8


@pytest.mark.parametrize(
    "found",
    [
        event(Kind.CONVERTER_FLAG, flags="not-connected"),
        event(Kind.BIT_FLIP, count=3),
        event(Kind.CODE_LOW, count=4),
    ],
    ids=["not-connected flag", "bit flips", "zeros"],
)
def test_bus_errors_with_flying_wires_point_to_the_bus(found: Event) -> None:
    """The data bus dislikes long flying leads."""
    assert leading(ranked(found, chain=FLYING)) == [Cause.BUS_WIRING]


def test_voltage_flags_point_to_wiring_then_filter() -> None:
    """Over- or under-voltage flags alone: bad wiring, or too little filter."""
    causes = ranked(event(Kind.CONVERTER_FLAG, count=3, gate=None, flags="input-out-of-range"))
    first, second, third = leading(causes, 3)
    assert first is Cause.LOOSE_CONNECTION
    assert Cause.INPUT_FILTER in (second, third)


def test_voltage_flags_that_come_with_motion_point_to_the_filter() -> None:
    """Wiring that is bad is bad at rest as well; motors are heard only when they move."""
    causes = ranked(
        event(Kind.CONVERTER_FLAG, count=30, flags="input-out-of-range", **MOVING),
        event(Kind.INTERFERENCE, tied_to="motion", gate=Gate.PRINTING),
    )
    assert leading(causes) == [Cause.INPUT_FILTER]


def test_an_offset_of_the_leads_size_with_two_wires_is_lead_resistance() -> None:
    """1.2 m of two AWG 30 leads: 0.81 Ω, 2.1 °C (copper wire table; computed)."""
    causes = ranked(event(Kind.OFFSET_COLD, offset_c=2.1, others_c=23.0), chain=TWO_WIRES)
    assert leading(causes) == [Cause.LEAD_RESISTANCE]


def test_an_offset_of_the_size_that_other_straps_leave_is_the_wire_count() -> None:
    """3 m of AWG 32 with three wires on a board for two: 1.5 leads, 2.4 Ω (computed)."""
    chain = Chain(wires=3, lead_awg=32, lead_m=3.0)
    causes = ranked(event(Kind.OFFSET_COLD, offset_c=6.3, others_c=23.0), chain=chain)
    assert leading(causes) == [Cause.WIRE_COUNT_SETTING]


def test_an_offset_of_the_ratio_of_two_references_is_the_reference() -> None:
    """430 Ω taken for 400 Ω lowers the ohms by 7 %: 109 Ω reads 101.4 Ω, −19.5 °C (computed)."""
    chain = Chain(wires=3, reference_ohm=400.0)
    causes = ranked(event(Kind.OFFSET_COLD, offset_c=-19.5, others_c=23.0), chain=chain)
    assert leading(causes) == [Cause.REFERENCE_SETTING]
    assert causes[0].probability > 0.8


def test_a_frozen_reading_on_flying_wires_points_to_the_bus() -> None:
    """No answer from the converter: the host goes on with the last reading."""
    assert leading(ranked(event(Kind.FROZEN, end_s=None), chain=FLYING)) == [Cause.BUS_WIRING]


def test_what_a_frozen_reading_says_of_heat_counts_little() -> None:
    """The host keeps heating toward a reading that does not move: the bus, not the seat."""
    causes = ranked(
        event(Kind.FROZEN, start_s=100.0, end_s=None),
        event(Kind.DRIFT, start_s=400.0, end_s=None, power_excess=0.3),
        chain=FLYING,
    )
    assert leading(causes) == [Cause.BUS_WIRING]


def test_power_without_heat_and_a_smooth_fall_points_to_the_heater() -> None:
    """The sensor still tells a believable story; the heat is missing."""
    causes = ranked(event(Kind.NO_RISE, end_s=None, rate_c_s=-0.6))
    assert leading(causes) == [Cause.HEATER_CIRCUIT]


@pytest.mark.parametrize(
    ("fell", "cause"), [({}, Cause.SENSOR_SEATING), ({"fell_s": 600.0}, Cause.HEATER_CIRCUIT)]
)
def test_how_long_it_fell_with_power_tells_a_heater_that_came_back_from_a_slipped_sensor(
    fell: dict[str, Any], cause: Cause
) -> None:
    """Within minutes a block at full power warms also what is beside it."""
    event_ = event(Kind.NO_RISE, end_s=900.0, rate_c_s=-0.6, followed=1.0, **fell)
    assert leading(ranked(event_)) == [cause]


def test_a_reading_that_sags_while_power_climbs_points_to_the_seat() -> None:
    """More power for the same reading: heat goes elsewhere than to the sensor."""
    causes = ranked(event(Kind.DRIFT, end_s=None, power_excess=0.3))
    assert leading(causes) == [Cause.SENSOR_SEATING]


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        (Kind.JOINT_JUMP, Cause.SUPPLY),
        (Kind.LINK_LOSS, Cause.NETWORK),
        (Kind.STALE, Cause.HOST_LOAD),
    ],
)
def test_what_all_channels_share_is_named_for_all(kind: Kind, cause: Cause) -> None:
    """Joint jumps are the supply, a lost link the network, silence the host."""
    causes = ranked(event(kind, channel="*", gate=None, count=3), channel="*")
    assert leading(causes) == [cause]


def test_a_steady_tone_is_mains_pickup() -> None:
    """Hum comes at rest as well, and a larger filter doesn't change that."""
    for chain in (PLUGGED, LARGE_FILTER):
        assert leading(ranked(event(Kind.MAINS_BEAT), chain=chain)) == [Cause.MAINS_PICKUP]


THREE, FOUR = Chain(wires=3), Chain(wires=4)
DOWNWARD = event(Kind.SPIKE, count=14, positive_share=0.0, size_spread=0.8, sized=14.0, **MOVING)


def place(cause: Cause, causes: list[RankedCause]) -> int:
    return leading(causes, len(causes)).index(cause)


def test_jumps_down_are_a_contact_with_three_wires_alone() -> None:
    """Ohms in the lead whose drop is subtracted read lower; two wires have no such lead, and
    four cancel all of them (Ohm's law, see `tests/shared/test_circuit.py`)."""
    assert leading(ranked(DOWNWARD, chain=THREE)) == [Cause.LOOSE_CONNECTION]
    for chain in (TWO_WIRES, FOUR):
        assert place(Cause.LOOSE_CONNECTION, ranked(DOWNWARD, chain=chain)) > 0


def test_jumps_down_may_be_a_contact_where_nobody_told_the_wires() -> None:
    """Both ways stay possible, at a lower weight."""

    def of(chain: Chain | None) -> float:
        causes = ranked(DOWNWARD, chain=chain)
        return sum(c.probability for c in causes if c.cause is Cause.LOOSE_CONNECTION)

    assert of(TWO_WIRES) < of(None) < of(THREE)


def test_ohms_more_are_no_contact_with_four_wires() -> None:
    found = event(Kind.CONTACT_BREAK, count=12, full=0.0, **MOVING)
    assert leading(ranked(found, chain=THREE)) == [Cause.LOOSE_CONNECTION]
    assert leading(ranked(found, chain=FOUR)) != [Cause.LOOSE_CONNECTION]


@pytest.mark.parametrize("wires", [3, 4])
def test_low_and_open_at_once_is_a_current_lead(wires: int) -> None:
    """No current in the element leaves no volt between the sense inputs."""
    low = event(Kind.CODE_LOW, count=9, **MOVING)
    flags = event(Kind.CONVERTER_FLAG, count=9, flags="open;short", **MOVING)
    chain = Chain(wires=3) if wires == 3 else Chain(wires=4)
    causes = ranked(low, flags, chain=chain)
    assert set(leading(causes, 2)) == {Cause.BROKEN_LEAD, Cause.LOOSE_CONNECTION}
    assert leading(ranked(low, flags, chain=TWO_WIRES)) == [Cause.BUS_WIRING]


def test_low_and_open_from_the_first_reading_with_two_wires_is_an_empty_terminal() -> None:
    """A board set for four: both sense inputs hang at the bias, 0 V between them."""
    causes = ranked(
        event(Kind.CODE_LOW, end_s=None, first_reading=1.0),
        event(Kind.CONVERTER_FLAG, end_s=None, flags="open;short"),
        chain=TWO_WIRES,
    )
    assert leading(causes) == [Cause.WIRE_COUNT_SETTING]


@pytest.mark.parametrize(("kind", "ohm", "r0"), [
    (Kind.CODE_LOW, 109.0, 1000.0),
    (Kind.CODE_HIGH, 1090.0, 100.0),
])  # fmt: skip
def test_a_tenth_or_ten_times_the_ohms_is_another_element(
    kind: Kind, ohm: float, r0: float
) -> None:
    """A Pt100 at 23 °C has 109 Ω, a Pt1000 1090 Ω (IEC 60751), whatever the host believes."""
    found = event(kind, end_s=None, first_reading=1.0, signal=ohm, r0_ohm=r0, value=1767.0)
    chain = Chain(wires=3, r0_ohm=r0, reference_ohm=4020.0)
    assert leading(ranked(found, chain=chain)) == [Cause.CURVE_SETTING]


def test_a_short_is_no_tenth() -> None:
    """A leap to a tenth is no other element, and 3 Ω are too few."""
    several: list[dict[str, Any]] = [
        {"before": 1090.0, "signal": 109.0},
        {"first_reading": 1.0, "signal": 3.0},
        {"first_reading": 1.0, "celsius": -240.0, "signal": 3.0},
    ]
    for facts in several:
        found = event(Kind.CODE_LOW, end_s=None, r0_ohm=1000.0, value=49.0, **facts)
        chain = Chain(wires=3, r0_ohm=1000.0, reference_ohm=4020.0)
        assert leading(ranked(found, chain=chain)) == [Cause.SENSOR_FAILED]


def test_a_small_filter_is_small_for_its_element() -> None:
    """100 nF on a Pt1000 filter as much as 1 µF on a Pt100: the corner counts."""
    found = (event(Kind.INTERFERENCE, tied_to="motion", gate=Gate.PRINTING),)
    pt1000 = Chain(wires=3, r0_ohm=1000.0, reference_ohm=4020.0, capacitance_nf=100.0, lead_m=2.0)
    assert leading(ranked(*found, chain=pt1000)) == [Cause.CABLE_PICKUP]


@pytest.mark.parametrize("halt_ends_s", [None, 50.0])
def test_a_host_that_stopped_is_not_slow_because_it_tells_no_readings(
    halt_ends_s: float | None,
) -> None:
    """While the stop stands; a silence long after it is one like any other."""
    halt = event(Kind.HALT, channel="*", start_s=40.0, end_s=halt_ends_s)
    silence = event(Kind.STALE, channel="*", start_s=200.0, end_s=None, answers=1.0)
    leads = [each.cause for each in diagnose([halt, silence], {})][:1]
    assert (Cause.HOST_LOAD in leads) == (halt_ends_s is not None)
