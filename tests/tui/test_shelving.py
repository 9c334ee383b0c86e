"""Acknowledging and shelving through the keys, in the recording, and back out of it."""

import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
import pytest_asyncio
from textual.pilot import Pilot

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.logs import open_log
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.health import Trust
from shared.updates import Update
from shared.words import Act, Kind, Severity
from tests.tui.fakes import NOW_S, FakeSource, snapshot
from tui.app import OhmvigilApp
from tui.commands.judge import judge
from tui.deed_lines import (
    deed_lines,
    deed_note,
    shelf_words,
)
from tui.lines import encode, event_record
from tui.notify import Desk, Policy
from tui.outside import OutsideDeeds, ShelfDesk
from tui.pipeline import Live
from tui.replay import Replay
from tui.several import SeveralApp
from tui.worst import active, level_of, severity_of


@dataclass
class Screen:
    app: OhmvigilApp
    pilot: Pilot[None]
    source: FakeSource

    @property
    def lines(self) -> list[str]:
        assert self.app.board is not None
        return self.app.board.lines()

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


@pytest_asyncio.fixture(params=[(80, 24), pytest.param((120, 40), marks=pytest.mark.long)])
async def screen(request: pytest.FixtureRequest) -> AsyncIterator[Screen]:
    source = FakeSource()
    app = OhmvigilApp(source)
    async with app.run_test(size=request.param) as pilot:
        await pilot.pause()
        yield Screen(app, pilot, source)


@pytest.mark.parametrize(
    ("typed", "seconds", "reason"),
    [
        ("", 600.0, ""),
        ("10m", 600.0, ""),
        ("10 min cable ordered", 600.0, "cable ordered"),
        ("1h, cable ordered", 3600.0, "cable ordered"),
        ("8 h", 28800.0, ""),
        ("90s", 90.0, ""),
        ("5", 300.0, ""),
        ("r", None, ""),
        ("returned waits for the print", None, "waits for the print"),
        ("until returned", None, ""),
        ("cable ordered", 600.0, "cable ordered"),
        ("ready soon", 600.0, "ready soon"),
    ],
)
def test_the_prompt_takes_a_time_and_a_reason(
    typed: str, seconds: float | None, reason: str
) -> None:
    assert shelf_words(typed) == (seconds, reason)


@pytest.mark.parametrize("typed", ["0m", "25h", "10parsecs", "999999h"])
def test_a_shelf_is_never_endless_nor_of_no_length(typed: str) -> None:
    with pytest.raises(BadInput):
        shelf_words(typed)


async def test_s_in_the_list_shelves_the_selected_event_for_a_time(screen: Screen) -> None:
    await screen.pilot.press("2", "s")
    assert "shelve code-high on nozzle: 10m, 1h, 8h" in screen.app._input.placeholder
    await screen.pilot.press(*"1h", "space", *"rewire", "enter")
    (call,) = screen.source.calls
    name, text, time_s, kind, facts = call
    assert (name, time_s, kind) == ("note", NOW_S, "shelve")
    assert text == "shelved for 60 min: code-high on nozzle - rewire"
    assert isinstance(facts, dict)
    assert facts["until_s"] == NOW_S + 3600.0
    assert abs(facts["wall_s"] - time.time()) < 60.0
    assert "shelved, 1h left: code at" in screen.text
    assert "u takes it back" in screen.text


async def test_u_takes_it_back(screen: Screen) -> None:
    await screen.pilot.press("2", "u")
    assert "nothing here is shelved" in screen.text
    await screen.pilot.press("s", "enter")
    assert screen.source.now.shelved == {5: NOW_S + 600.0}
    await screen.pilot.press("u")
    assert screen.source.now.shelved == {}
    assert "code-high on nozzle back" in screen.text


async def test_capital_s_and_u_mean_every_fault_of_the_sensor(screen: Screen) -> None:
    """One broken lead shows as several kinds; a notice needs no shelf."""
    await screen.pilot.press("2", "S")
    assert "shelve 3 kinds on nozzle: 10m" in screen.app._input.placeholder
    await screen.pilot.press(*"8h", "enter")
    assert "3 kinds on nozzle shelved for 8 h; U takes them back" in screen.text
    assert screen.source.now.quiet == {"nozzle"}
    kinds = {call[4]["event_kind"] for call in screen.source.calls}  # type: ignore[index]
    assert kinds == {"spike", "contact-break", "code-high"}
    await screen.pilot.press("U")
    assert screen.source.now.shelved == {}
    assert screen.source.now.quiet == frozenset()


async def test_in_the_chart_the_first_row_is_meant_unless_one_was_gone_to(screen: Screen) -> None:
    await screen.pilot.press("s", "r", "enter")
    assert screen.source.now.shelved == {5: None}
    await screen.pilot.press("N", "N", "a")
    assert screen.source.now.acknowledged == {1, 4}


async def test_a_wrong_time_shelves_nothing_and_says_so(screen: Screen) -> None:
    await screen.pilot.press("s", *"99h", "enter")
    assert screen.source.calls == []
    assert "not shelved: 99h is too long" in screen.text


async def test_escape_leaves_the_prompt_without_shelving(screen: Screen) -> None:
    await screen.pilot.press("2", "s", "escape")
    assert screen.source.calls == []
    await screen.pilot.press("enter")
    assert screen.source.calls == []


async def test_the_keys_stand_in_the_last_line_and_in_help(screen: Screen) -> None:
    await screen.pilot.press("2")
    assert "a ack  s shelf" in screen.lines[-1]
    await screen.pilot.press("question_mark")
    assert "shelve it, sensor; take back" in screen.text


async def test_what_is_shelved_does_not_lead_the_hint(screen: Screen) -> None:
    """The fake's contact-break is on the nozzle as well: both are shelved before it is quiet."""
    assert "nozzle: loose-connection" in screen.text
    for shelved in (5, 4, 2):
        screen.app.state.selected = shelved
        await screen.pilot.press("2", "s", "enter")
    await screen.pilot.press("1")
    assert screen.source.now.quiet == {"nozzle"}
    assert "nozzle: loose-connection" not in screen.text


def ill() -> FakeSource:
    return FakeSource(replace(snapshot(), title="garage"))


async def test_in_the_list_of_hosts_the_keys_mean_the_chosen_hosts_worst_event() -> None:
    sources = [ill(), ill()]
    app = SeveralApp(sources)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "s", *"8h", "enter")
        assert [source.now.shelved for source in sources] == [{}, {5: NOW_S + 28800.0}]
        assert app.is_listing
        assert app.board is not None
        assert any("shelved" in line for line in app.board.lines()[2:4])
        await pilot.press("a")
        assert sources[1].now.acknowledged != sources[0].now.acknowledged
        await pilot.press("u")
        assert sources[1].now.shelved == {}


def test_a_shelved_event_makes_a_host_no_worse() -> None:
    source = ill()
    assert severity_of(source.now) is Severity.FAILURE
    note = deed_note(Act.SHELVE, source.now.events[4], NOW_S, 600.0)
    source.note(note.text, note.time_s, note.kind, note.facts)
    assert severity_of(source.now) is None
    assert active(source.now) == []
    assert level_of(source.now).severity < 0


# -- in files --


def updates() -> list[Update]:
    """Ten minutes, at the end of which the nozzle's code is at its upper limit."""
    found = []
    for number in range(2400):
        time_s = number * 0.25
        wave = 3.0 * ((number * 7) % 5 - 2)
        code = 32767.0 if time_s >= 300.0 else 13681.0 + wave
        found.append(Update(time_s, {"nozzle.code": code, "nozzle.temperature_c": 210.0}))
    return found


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    path = tmp_path / "night.ohmv"
    recorder = Recorder(path, {"title": "night"})
    recorder.updates(updates())
    recorder.close()
    return path


def judged(replay: Replay) -> Replay:
    replay.start()
    deadline = time.monotonic() + 60.0
    while not replay.is_judged:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    return replay


@pytest.fixture(autouse=True)
def _nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tui.replay.FIRST_LOOK_S", 0.0)


def test_what_was_done_in_a_replay_is_in_the_file_and_comes_back(recorded: Path) -> None:
    replay = judged(Replay(open_log(recorded), "night"))
    before = replay.snapshot()
    (high,) = [each for each in before.events if each.kind is Kind.CODE_HIGH]
    for act in (Act.ACKNOWLEDGE, Act.SHELVE):
        note = deed_note(act, high, 400.0, 100.0)
        told = replay.note(note.text, note.time_s, note.kind, note.facts)
        assert told == "stored in night.ohmv"
    replay.close()
    assert [path.name for path in recorded.parent.iterdir()] == ["night.ohmv"]

    again = judged(Replay(open_log(recorded), "night"))
    assert again.snapshot().events == before.events
    assert again.snapshot().acknowledged == {high.id}
    assert [note.kind for note in again.snapshot().notes] == ["acknowledge", "shelve"]
    for cursor_s, is_on in ((350.0, False), (450.0, True), (550.0, False)):
        again.seek(cursor_s)
        now = again.snapshot()
        assert (high.id in now.shelved) is is_on
        assert (now.channels[0].trust is Trust.SHELVED) is is_on
        assert ("shelved: code-high on nozzle" in now.verdict.text) is is_on
    again.close()


def test_a_note_in_a_replay_is_told_once_although_it_is_stored(recorded: Path) -> None:
    replay = judged(Replay(open_log(recorded), "night"))
    assert replay.note("turned the cable", 10.0) == "stored in night.ohmv"
    assert [note.text for note in replay.snapshot().notes] == ["turned the cable"]
    replay.close()
    log = Recording(recorded)
    assert [note.text for note in log.notes] == ["turned the cable"]
    log.close()


def test_a_file_that_cannot_be_written_keeps_the_note_on_the_screen(recorded: Path) -> None:
    replay = judged(Replay(open_log(recorded), "night"))
    recorded.unlink()
    told = replay.note("turned the cable", 10.0)
    assert told.startswith("on this screen only: ")
    assert [note.text for note in replay.snapshot().notes] == ["turned the cable"]
    replay.close()


# -- live, and from another program --


def test_shelved_live_it_is_recorded_comes_back_in_time_and_changes_no_event(
    tmp_path: Path,
) -> None:
    """Through the socket of the simulated host: the file holds the deed, and judges the same."""
    path = tmp_path / "live.ohmv"
    host = SimulatedHost(load_scenario("lead-breaks-at-position"), 1, 60.0)
    live = Live(simulated_profile(host.start(), {}), "live", Recorder(path, {"title": "live"}))
    live.start()
    try:
        until(lambda: any(each.kind is Kind.CODE_HIGH for each in live.snapshot().events))
        now = live.snapshot()
        (high, *_) = [each for each in now.events if each.kind is Kind.CODE_HIGH]
        note = deed_note(Act.SHELVE, high, now.now_s, 60.0, "a test")
        assert live.note(note.text, note.time_s, note.kind, note.facts) == ""
        assert high.id in live.snapshot().shelved
        until(lambda: live.snapshot().now_s > now.now_s + 61.0)
        assert live.snapshot().shelved == {}
    finally:
        live.close()
        host.stop()
    judged_again = judge(str(path))
    assert [note.kind for note in judged_again.deeds] == ["shelve"]
    assert deed_lines(judged_again.deeds)[0].endswith("UTC)")
    log = Recording(path)
    stored = [each for each in log.events() if each.absorbed_by is None]
    log.close()
    assert [encode(event_record(each)) for each in judged_again.events] == [
        encode(event_record(each)) for each in stored
    ]


def test_what_a_replay_shelves_in_a_file_that_record_writes_is_not_told(tmp_path: Path) -> None:
    """A desk hears of it when it is over and the event still goes on."""
    path = tmp_path / "live.ohmv"
    recorder = Recorder(path, {"title": "live"})
    live = Live(simulated_profile("ws://127.0.0.1:9", {}), "live", recorder)
    live._detect(updates()[:1300])
    recorder.flush()
    (high,) = [each for each in live.results()[0] if each.kind is Kind.CODE_HIGH]
    note = deed_note(Act.SHELVE, high, high.start_s, None)
    add_note(path, note.time_s, note.text, note.kind, note.facts)

    desk = Desk("live", Policy(), 0.0)
    shelf = ShelfDesk(desk, live)
    outside = OutsideDeeds(live)
    # Raised and waiting for what comes with it, when it is shelved.
    shelf.event(high, 0.0)
    outside.look(0.0)
    shelf.release(0.0)
    shelf.event(high, 0.0)
    assert desk.due(100.0, 0) == []
    back = deed_note(Act.UNSHELVE, high, high.start_s)
    add_note(path, back.time_s, back.text, back.kind, back.facts)
    outside.look(1.0)
    shelf.release(100.0)
    assert desk.due(200.0, 0) == []
    outside.look(6.0)
    shelf.release(200.0)
    (message,) = desk.due(300.0, 0)
    assert message.kind == "code-high"
    live.close()
    recorder.close()


def until(what: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 60.0
    while not what():
        assert time.monotonic() < deadline
        time.sleep(0.02)
