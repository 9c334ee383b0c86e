"""Answers and trials on a live watch, over the real socket: they move the ranking and are kept."""

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from detectors.diagnosis import diagnose
from detectors.trials.compared import TrialOutcome
from recordings.logs import open_log
from recordings.writer import Recorder
from shared.events import RankedCause
from shared.notes import ANSWER, TRIAL
from shared.words import Cause, Kind
from tui.commands.judge import judge_log
from tui.pipeline import Live
from tui.snapshot import Snapshot

PATIENCE_S = 60.0


def when(live: Live, holds: Callable[[Snapshot], bool]) -> Snapshot:
    """The first snapshot for which something holds."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        now = live.snapshot()
        if holds(now):
            return now
        time.sleep(0.02)
    raise AssertionError("it never held")


def chance(now: Snapshot, cause: Cause) -> float:
    return next((one.probability for one in now.causes if one.cause is cause), 0.0)


def likelihood(causes: Sequence[RankedCause]) -> float:
    """Probability of a broken lead."""
    return next(one.probability for one in causes if one.cause is Cause.BROKEN_LEAD)


def test_an_answer_moves_the_ranking_of_a_live_watch_and_is_judged_again(tmp_path: Path) -> None:
    """Against the evidence: it jumps when the cable is bent, so a broken lead gains."""
    scenario = load_scenario("loose-terminal")
    host = SimulatedHost(scenario, 1, 60.0)
    profile = simulated_profile(host.start(), scenario.chains)
    path = tmp_path / "live.ohmv"
    live = Live(profile, "t", Recorder(path, {"chains": dict(profile.chains)}), for_s=250.0)
    live.start()
    try:
        before = when(live, lambda now: chance(now, Cause.LOOSE_CONNECTION) > 0.4)
        facts = {"channel": "nozzle", "check": "wiggle-cable", "outcome": "breaks-in-the-cable"}
        live.note("it jumps when bent", before.now_s, ANSWER, facts)
        after = when(live, lambda now: chance(now, Cause.BROKEN_LEAD) > 0.4)
        live.note("new cable", after.now_s, TRIAL, {"channel": "nozzle"})
        assert live.finished.wait(PATIENCE_S)
        when(live, lambda now: any(one.trial for one in now.trials))
    finally:
        live.close()
        host.stop()
    final = live.snapshot()
    log = open_log(path)
    judged = judge_log(log, log.chains)
    kinds = [note.kind for note in log.notes]
    log.close()
    assert kinds == [ANSWER, TRIAL]
    assert judged.causes == final.causes
    unanswered = diagnose(judged.events, profile.chains)
    assert likelihood(judged.causes) > 2.0 * likelihood(unanswered)
    assert judged.trials == final.trials
    breaks = [one for one in judged.trials if one.kind is Kind.CONTACT_BREAK]
    assert [one.trial for one in breaks] == [0, 1]
    assert breaks[1].outcome is not TrialOutcome.BETTER
