"""The cold check on channels whose truth is known."""

import msgspec
import pytest

from shared.chain import Chain
from shared.coldcheck import ColdReading, cold_check
from shared.leads import path_ohm, read_ohm
from shared.platinum import ohms

TWO_WIRE = Chain(wires=2, tolerance="A")
THREE_WIRE = Chain(wires=3, tolerance="A")


def _healthy(name: str, chain: Chain, temperature: float = 22.0, moment: int = 0) -> ColdReading:
    seen = read_ohm(chain, ohms(temperature, chain.r0_ohm))
    return ColdReading(name, chain, seen, 0.003, moment)


def _with(reading: ColdReading, offset: float = 0.0, gain: float = 0.0) -> ColdReading:
    seen = (1.0 + gain) * reading.seen_ohm + offset
    return ColdReading(reading.channel, reading.chain, seen, 0.003, reading.moment)


def test_channels_that_agree_are_left_alone() -> None:
    """Leads by their facts are taken off first, so two wires agree with three."""
    found = cold_check([_healthy("nozzle", TWO_WIRE), _healthy("bed", THREE_WIRE)])
    assert [one.is_off for one in found.channels] == [False, False]
    assert found.could_not_tell == ()


def test_the_implied_lead_resistance_is_the_true_one() -> None:
    """3 Ω too much on the nozzle: the interval holds what its leads really add."""
    readings = [
        _with(_healthy("nozzle", TWO_WIRE), offset=3.0),
        _healthy("bed", THREE_WIRE),
        _healthy("chamber", THREE_WIRE),
    ]
    found = cold_check(readings)
    nozzle = found.channels[0]
    true = 2.0 * path_ohm(TWO_WIRE) + 3.0
    low, high = nozzle.implied_leads_ohm.interval
    assert found.odd_one == "nozzle"
    assert low < true < high
    assert nozzle.implied_leads_ohm.value == pytest.approx(true, abs=1e-6)
    assert nozzle.prefers == "offset"


def test_a_reading_that_is_too_low_cannot_be_leads() -> None:
    """Leads have no negative resistance."""
    readings = [
        _with(_healthy("nozzle", THREE_WIRE), gain=-0.04),
        _healthy("bed", THREE_WIRE),
        _healthy("chamber", THREE_WIRE),
    ]
    found = cold_check(readings)
    assert found.odd_one == "nozzle"
    assert found.channels[0].prefers == "gain"
    assert found.channels[0].implied_gain.value == pytest.approx(-0.04, abs=1e-6)


def test_a_mixed_up_reference_is_not_blamed_on_the_leads() -> None:
    """7.5 % too much is 432 Ω taken for 402 Ω, or 8 Ω of leads: it cannot tell, and says why."""
    chain = msgspec.structs.replace(THREE_WIRE, host_reference_ohm=432.0)
    readings = [
        _with(_healthy("nozzle", chain), gain=432.0 / 402.0 - 1.0),
        _healthy("bed", THREE_WIRE),
        _healthy("chamber", THREE_WIRE),
    ]
    found = cold_check(readings)
    assert found.channels[0].prefers == "cannot tell"
    assert any("432 Ω set for 402 Ω" in each for each in found.could_not_tell)


def test_two_channels_cannot_say_which_is_off() -> None:
    """It names the question, not a culprit."""
    found = cold_check([_with(_healthy("nozzle", TWO_WIRE), 3.0), _healthy("bed", THREE_WIRE)])
    assert found.odd_one is None
    assert all(one.is_off for one in found.channels)
    assert any("which of the two" in each for each in found.could_not_tell)


@pytest.mark.parametrize(("offset", "gain", "prefers"), [(8.0, 0.0, "offset"), (0.0, 0.08, "gain")])
def test_two_temperatures_tell_leads_from_gain(offset: float, gain: float, prefers: str) -> None:
    """At rest at 10 °C and soaked at 110 °C, eight ohms or eight per cent."""
    exact = msgspec.structs.replace(THREE_WIRE, tolerance="AA", reference_tolerance=0.0)
    readings = []
    for moment, temperature in enumerate((10.0, 110.0)):
        readings.append(_with(_healthy("nozzle", exact, temperature, moment), offset, gain))
        readings.append(_healthy("bed", exact, temperature, moment))
        readings.append(_healthy("chamber", exact, temperature, moment))
    found = cold_check(readings, near_k=0.2)
    assert found.channels[0].prefers == prefers
    assert found.odd_one == "nozzle"


def test_an_open_channel_is_named_and_left_out() -> None:
    """Beyond the curve there is nothing to compare."""
    open_one = ColdReading("chamber", THREE_WIRE, 402.0, 0.003)
    found = cold_check([_healthy("nozzle", TWO_WIRE), _healthy("bed", THREE_WIRE), open_one])
    assert len(found.channels) == 2
    assert any(each.startswith("chamber") for each in found.could_not_tell)


def test_one_channel_alone_tells_nothing() -> None:
    """Two are needed."""
    found = cold_check([_healthy("nozzle", TWO_WIRE)])
    assert found.channels == ()
    assert found.could_not_tell
