"""The whole story: a loose terminal is found by moving the cable, repaired, and proven.

The simulated machine knows the truth; everything else here sees what its host sends. The
live watch's own code runs, with updates handed to it in place of a socket, so that the
person's marks fall on exact moments.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from client.profile import simulated_profile
from client.simulated.plain import moments, updates
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import Scenario, load_scenario
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial
from recordings.logs import open_log
from recordings.writer import Recorder
from shared.notes import TRIAL
from shared.updates import Update
from shared.words import Cause, Kind, Severity
from tests.tui.test_guide import lines_of
from tui.commands.judge import judge_log
from tui.guide import Guide, GuideStage
from tui.main import run
from tui.pipeline import Live
from tui.snapshot import Snapshot

PRINT_ENDS_S, STILL_S, TIGHTENED_S, PRINTS_AGAIN_S = 2400.0, 4195.0, 4440.0, 4800.0
SECTIONS_S = {1: 4230.0, 2: 4260.0, 3: 4290.0, 4: 4320.0}
MOVED_UNTIL_S = 4352.0


class Night(Live):
    """The live watch of a scenario, moved on by hand."""

    def __init__(self, scenario: Scenario, seed: int, path: Path) -> None:
        profile = simulated_profile("ws://127.0.0.1:1", scenario.chains)
        recorder = Recorder(path, {"title": "story", "chains": dict(profile.chains)})
        super().__init__(profile, "story", recorder)
        self._log: Iterator[Update] = updates(scenario, seed)
        self._next = next(self._log)
        self._start_s = self._next.time_s - PERIOD_S

    def until(self, time_s: float, *, judged: bool = True) -> Snapshot:
        """Take what the host sends up to a time of the scenario."""
        part: list[Update] = []
        while self._next.time_s <= time_s + self._start_s:
            part.append(self._next)
            self._next = next(self._log)
        self._detect(part)
        if judged:
            self._try_at_s = 0.0
            self._diagnose_if(True)
        return self.snapshot()

    def snapshot(self) -> Snapshot:
        return replace(super().snapshot(), now_s=self._watch.now_s)


def leading(now: Snapshot) -> tuple[Cause | None, float]:
    first = next(cause for cause in now.causes if cause.channel == "nozzle")
    return first.cause, first.probability


def trial(now: Snapshot, number: int) -> KindTrial:
    return next(one for one in now.trials if one.kind is Kind.CONTACT_BREAK and one.trial == number)


@pytest.mark.long
def test_a_loose_terminal_is_found_repaired_and_proven(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the first break to the hour at which one may say that it is gone."""
    path = tmp_path / "story.ohmv"
    scenario = load_scenario("terminal-repaired")
    night = Night(scenario, 1, path)

    # It breaks in print. The likeliest cause is right, and the next check is to move the cable.
    now = night.until(PRINT_ENDS_S)
    suspected, before = leading(now)
    assert suspected is Cause.LOOSE_CONNECTION
    assert 0.4 < before < 0.95
    guide = Guide(night, now, "nozzle")
    assert guide.item.form is not None
    assert guide.item.form.name == "wiggle-cable"
    assert "stay outside a housing with mains in it" in lines_of(guide)

    # Cold: what to mind is read, the cable is moved section by section.
    guide.begin(night.until(STILL_S))
    marks = dict(SECTIONS_S)
    bells = 0
    at_s = STILL_S
    while at_s < MOVED_UNTIL_S:
        at_s += 0.5
        now = night.until(at_s, judged=False)
        bells += guide.take(now)
        for number, mark_s in list(marks.items()):
            if at_s >= mark_s:
                guide.mark(number)
                del marks[number]
    shown = lines_of(guide)
    assert bells >= 5
    assert "It breaks at: heater block, terminals." in shown
    assert guide.accept(now) == "answered: wiggle-cable: breaks-at-an-end"
    assert guide.stage is GuideStage.ANSWERED

    # The answer moves the ranking at once, and is on record.
    now = night.until(at_s + 1.0)
    found, sure = leading(now)
    assert found is Cause.LOOSE_CONNECTION
    assert sure > max(before, 0.94)
    assert [note.kind for note in now.notes] == ["answer"]

    # It is tightened. That starts a trial; the breaks that were provoked count for neither.
    night.until(TIGHTENED_S)
    night.note("tightened the terminal", TIGHTENED_S + night._start_s, TRIAL, {})
    now = night.until(PRINTS_AGAIN_S + 180.0)
    first, second = trial(now, 0), trial(now, 1)
    assert first.state == "moving"
    assert first.count == first_breaks(scenario, night)
    assert second.count == 0
    assert second.outcome is TrialOutcome.TOO_EARLY
    assert second.further_h is not None

    assert now.verdict.severity is Severity.MAINTENANCE_REQUIRED
    assert "more without a fault" in now.verdict.text

    # Short of the stated time it is still too early; after it, it is proven.
    minutes = 60.0 * second.further_h
    assert 2.0 < minutes < 20.0
    share = 35.0 / 36.5
    """Of its time that a print moves; it pauses between layers, and a window counts whole."""
    at_s = PRINTS_AGAIN_S + 180.0 + 60.0 * minutes
    assert trial(night.until(at_s - 40.0), 1).outcome is TrialOutcome.TOO_EARLY
    now = night.until(at_s / share - PRINTS_AGAIN_S * (1.0 / share - 1.0) + 20.0)
    assert trial(now, 1).outcome is TrialOutcome.BETTER
    assert trial(now, 1).further_h is None
    assert now.verdict.severity is Severity.NOTICE
    assert "repaired by “tightened the terminal”" in now.verdict.text

    # And that is so: the machine's own truth has no fault since.
    truth = [moment for moment, _ in moments(scenario, 1) if moment.time_s > TIGHTENED_S]
    assert not any(moment.truth.faults for moment in truth)

    # Judged again from the recording it is the same, in words and numbers.
    night._end()
    log = open_log(path)
    judged = judge_log(log, log.chains)
    log.close()
    again = [one for one in judged.trials if one.kind is Kind.CONTACT_BREAK]
    assert [(one.count, one.hours, one.outcome) for one in again] == [
        (one.count, one.hours, one.outcome) for one in (trial(now, 0), trial(now, 1))
    ]
    assert judged.causes[0].cause is Cause.LOOSE_CONNECTION
    assert judged.causes[0].probability == pytest.approx(leading(now)[1], abs=0.02)
    assert run(["judge", str(path)]) == 1
    told = capsys.readouterr().out
    assert "1 tightened the terminal: 0 in" in told
    assert "; better" in told
    assert "verdict: notice: nozzle repaired by" in told
    assert "0 contact-break in" in told


def first_breaks(scenario: Scenario, night: Night) -> int:
    """Breaks that the watch itself counted in the first print."""
    kinds = (Kind.CONTACT_BREAK, Kind.SPIKE)  # A contact that opens for one reading is a spike.
    events = [event for event in night.snapshot().events if event.kind in kinds]
    return sum(event.count for event in events if event.start_s < PRINT_ENDS_S + 5.0)
