"""Adding a kind takes a word, a row, a detector and its line in the catalogue, nothing else.

What stands between the marks is all of it: twenty lines. The word is added to the vocabulary for
the test alone; it is a line of `shared.words.Kind`.
"""

from collections.abc import Iterator

import pytest

from detectors.detector import HostDetector, Say
from detectors.diagnosis import diagnose, verdict
from detectors.engine import hostwatch
from detectors.engine.catalogue import host_detectors
from detectors.engine.watch import Watch
from detectors.health import trust_of
from detectors.reports import Sighting
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import Change, Watched, trials
from detectors.trials.exposure import Ledger
from shared.chain import EXAMPLE
from shared.chainstate import Finding, Stage
from shared.health import Trust
from shared.kinds import KINDS, KindSpec, Shape
from shared.updates import Update, batch_of
from shared.words import HostState, Kind, Severity
from tests.detectors.logs import steady

# -- a new kind --

CLICK = str.__new__(Kind, "relay-click")
CLICK._name_, CLICK._value_ = "RELAY_CLICK", "relay-click"
JOIN_S = 20.0
ROW = KindSpec(
    Shape.JUMP, Severity.OUT_OF_SPECIFICATION, JOIN_S, "a relay seldom clicks once", Stage.BUS
)


class Clicks(HostDetector):
    """Whether the host says that a relay clicks."""

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if key == "host.message" and "click" in text:
            words = "a relay clicks"
            say(Sighting(row, time_s, "nozzle", CLICK, time_s, time_s, 1.0, "clicks", words))


@pytest.fixture(autouse=True)
def click(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, CLICK, ROW)
    monkeypatch.setattr(hostwatch, "host_detectors", lambda: [*host_detectors(), Clicks()])


# -- what follows from it --

AT_S = (100.0, 110.0, 125.0, 400.0)
"""Three clicks that join, and one beyond the joining time."""


def clicking() -> Iterator[Update]:
    """An hour of a healthy nozzle with a few clicks in its first minutes."""
    waiting = list(AT_S)
    for update in steady(3600.0, seed=3):
        values = dict(update.values)
        if waiting and update.time_s >= waiting[0]:
            values["host.message"] = f"click at {waiting.pop(0):.0f} s"
        yield Update(update.time_s, values)


@pytest.fixture
def ledger() -> Ledger:
    return Ledger()


@pytest.fixture
def watch(click: None, ledger: Ledger) -> Watch:
    watch = Watch({"nozzle": EXAMPLE}, [ledger])
    watch.feed(batch_of(list(clicking())))
    watch.finish()
    return watch


def test_it_is_booked_and_joined_as_its_row_says(watch: Watch) -> None:
    """Clicks within the joining time are one event; the severity is the row's."""
    assert [(one.kind, one.count, one.severity) for one in watch.events] == [
        (CLICK, 3, Severity.OUT_OF_SPECIFICATION),
        (CLICK, 1, Severity.OUT_OF_SPECIFICATION),
    ]


def test_it_asks_for_a_cause_and_the_verdict_tells_it(watch: Watch) -> None:
    """No sign knows it yet: its channel has a cause to find, and the severity is the row's."""
    causes = diagnose(watch.events, {"nozzle": EXAMPLE})
    found = verdict(watch.events, causes)
    assert found.severity is Severity.OUT_OF_SPECIFICATION
    assert found.text.startswith("nozzle: ")
    assert {cause.channel for cause in causes} == {"nozzle"}


def test_the_reading_is_doubted_and_its_place_in_the_chain_is_off(watch: Watch) -> None:
    (state,) = watch.chain_states()
    off = [(each.stage, each.why) for each in state.stages if each.finding is Finding.OFF]
    assert (Stage.BUS, "relay-click ×3: a relay clicks") in off
    assert trust_of("nozzle", watch.events, HostState.UP, 130.0)[0] is Trust.DOUBTFUL


def test_trials_judge_it(watch: Watch, ledger: Ledger) -> None:
    """Four clicks before a change and none after it."""
    usage = ledger.usage(watch.events)
    found = trials([Watched(usage, (Change(600.0, "tightened a screw"),))])
    assert [(one.kind, one.count) for one in found] == [(CLICK, 4), (CLICK, 0)]
    assert found[1].outcome is TrialOutcome.BETTER
