"""The verdict is one line and claims no more than was looked at."""

import math

from msgspec.structs import replace

from detectors.diagnosis import diagnose, verdict
from detectors.diagnosis.verdict import PULL_THE_PLUG
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated, Verdict
from shared.noise import noise_found
from shared.words import Kind, Severity
from tests.detectors.diagnosis.found import PLUGGED, event


def of(*events: Event) -> Verdict:
    causes = diagnose(events, {"nozzle": PLUGGED, "bed": PLUGGED})
    return verdict(events, causes, span_s=600.0, channels=5)


def test_nothing_found_says_how_long_and_how_many_channels_were_watched() -> None:
    """And is a notice."""
    found = verdict([], [], span_s=12 * 3600 + 180, channels=5)
    assert found == Verdict(
        severity=Severity.NOTICE, text="no fault found in 12 h 3 min of 5 channels"
    )


def test_what_was_not_evaluated_is_said() -> None:
    """Silence would claim more than was looked at."""
    blind = [NotEvaluated(kind=Kind.FROZEN, channel="bed", why="too quiet")]
    found = verdict([], [], span_s=90.0, channels=1, not_evaluated=blind)
    assert found.text == "no fault found in 90 s of 1 channel; not evaluated: frozen on bed"


def test_a_log_without_a_reading_is_not_called_free_of_faults() -> None:
    """No channel, nothing to judge."""
    assert "nothing to judge" in verdict([], [], span_s=0.0, channels=0).text


def test_a_fault_names_channel_cause_probability_and_check() -> None:
    """In that order, after what is to be stopped."""
    found = of(event(Kind.BIT_FLIP, count=9), event(Kind.CODE_LOW, count=3))
    assert found.severity is Severity.FAILURE
    assert found.text.startswith("nozzle: switch the heater off; nozzle: bus wiring, most likely (")
    assert found.text.endswith("— next: reseat bus")


def test_two_causes_that_are_near_are_both_named() -> None:
    """No cause is called most likely when it is less likely than not."""
    events = [event(Kind.SPIKE, count=9, positive_share=0.5)]
    first, second = diagnose(events, {"nozzle": PLUGGED})[:2]
    near = (replace(first, probability=0.45), replace(second, probability=0.4))
    found = verdict(events, near)
    assert "input filter (" in found.text
    assert " or cable pickup (" in found.text
    assert "most likely" not in found.text


def test_a_settling_channel_is_a_notice_and_no_fault() -> None:
    """Harmless, and said so."""
    found = of(event(Kind.RESTART, channel="*"), event(Kind.STARTUP_TRANSIENT))
    assert found.severity is Severity.NOTICE
    assert "no fault found" in found.text
    assert "startup-transient on nozzle" in found.text


def test_a_second_faulty_channel_is_named_too() -> None:
    """The worst comes first."""
    found = of(
        event(Kind.MAINS_BEAT, channel="bed"),
        event(Kind.CODE_HIGH, end_s=None, first_reading=1.0),
    )
    assert found.text.startswith("nozzle: ")
    assert "; also bed: mains pickup" in found.text


def test_what_the_host_says_stands_alone_where_no_cause_is_known() -> None:
    """No cause is named in its place, nor that there is none."""
    said = "the host stopped the machine: at the panel"
    found = of(event(Kind.HALT, channel="*", gate=None, text=said))
    assert found.severity is Severity.FAILURE
    assert found.text == f"all channels: {said}"


def test_events_without_a_diagnosis_speak_for_themselves() -> None:
    """For a caller that gives no causes."""
    found = verdict([event(Kind.FROZEN, text="it has not moved for 60 s")], [])
    assert found.text == "nozzle: it has not moved for 60 s"


def test_absorbed_events_do_not_count() -> None:
    """Neither in severity nor in words."""
    found = verdict([event(Kind.CODE_HIGH, absorbed_by=3)], [], span_s=60.0, channels=1)
    assert found.severity is Severity.NOTICE


def off(channel: str, shows_off_k: float) -> ChainState:
    """A chain whose host shows other degrees than the facts give."""
    noise = noise_found(PLUGGED, 0, math.nan, math.nan)
    return ChainState(
        channel=channel, chain=PLUGGED, noise=noise, cold=None, shows_off_k=shows_off_k
    )


def test_each_channel_that_reads_low_by_its_facts_is_stopped_whatever_others_are_called() -> None:
    """`bed` is stopped though `bed2` is already named, and no channel twice."""
    events = [event(Kind.NO_RISE, channel="bed2")]
    causes = diagnose(events, {"bed2": PLUGGED})
    found = verdict(events, causes, chains=[off("bed", -6.0), off("bed2", -6.0)])
    assert found.stop == "bed2, bed: switch the heater off"
    assert found.text.startswith(f"{found.stop}; bed: the host shows 6 K too low")
    assert found.severity is Severity.FAILURE


def test_a_channel_that_reads_low_by_its_facts_is_stopped_without_any_event() -> None:
    """And one that reads high, or is off by less than leads explain, is not."""
    low = verdict([], [], span_s=90.0, channels=1, chains=[off("bed", -6.0)])
    assert low.stop == "bed: switch the heater off"
    assert low.text.endswith("; no other fault found in 90 s of 1 channel")
    high = verdict([], [], chains=[off("bed", 6.0)])
    assert (high.stop, high.severity) == ("", Severity.OUT_OF_SPECIFICATION)
    assert verdict([], [], chains=[off("bed", -3.9)]).severity is Severity.NOTICE


def test_a_heater_on_by_itself_has_its_plug_pulled_though_it_reads_low_too() -> None:
    """The stronger of the two, once."""
    events = [event(Kind.RISE_UNPOWERED)]
    causes = diagnose(events, {"nozzle": PLUGGED})
    found = verdict(events, causes, chains=[off("nozzle", -6.0)])
    assert found.stop == f"nozzle: {PULL_THE_PLUG}"
