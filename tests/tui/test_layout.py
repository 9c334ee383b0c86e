"""What the screen shows at each size: words whole, nothing hidden, nothing jumping."""

import math
import re
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from shared.events import Verdict
from shared.health import Trust
from shared.updates import Update, batch_of
from shared.words import Cause, HostState, Severity
from tests.tui.fakes import FakeSource
from tui.history import History
from tui.painter import paint
from tui.picture import take_picture
from tui.snapshot import LinkState, LinkView, PlayView, RecordingView
from tui.state import ScreenState, ViewName
from tui.views.frame import ScreenFrame, glyphs_for
from tui.views.overview import GUTTER

SIZES = [(80, 24), (120, 40), (60, 16)]


def shown(
    source: FakeSource,
    size: tuple[int, int] = (80, 24),
    view: ViewName = ViewName.OVERVIEW,
    ascii_only: bool = False,
    state: ScreenState | None = None,
) -> list[str]:
    state = state or ScreenState(view=view)
    state.settle(source.now)
    frame = ScreenFrame(source.now, state, source.history, glyphs_for(ascii_only))
    return paint(*size, frame, ascii_only).lines()


def row_of(lines: list[str], word: str) -> str:
    return next(line for line in lines if word in line)


@pytest.mark.parametrize("size", SIZES)
def test_the_overview_says_what_is_true_and_since_when(size: tuple[int, int]) -> None:
    lines = shown(FakeSource(), size)
    assert "nozzle false" in lines[0]
    assert "link open" in lines[0]
    assert "data 0s old" in lines[0]
    assert "host up" in lines[0]
    assert "988.4 █ false    12s" in row_of(lines, "›nozzle")
    assert "59.1 ─ true      2m" in row_of(lines, " bed ")
    assert any("loose-connection" in line for line in lines)
    assert any(line.startswith("next") for line in lines)
    assert any(line.startswith("mind") for line in lines)
    assert "q quit" in lines[-1]


def test_a_host_that_tells_no_state_is_not_called_up_and_its_last_words_are_shown() -> None:
    source = FakeSource()
    source.now = replace(source.now, host="", message="all outputs were dropped")
    line = shown(source, (150, 40))[0]
    assert "host not told" in line
    assert "host up" not in line
    assert "it says 'all outputs were dropped'" in line


def test_a_lost_reading_is_shown_as_none() -> None:
    source = FakeSource()
    first, *rest = source.now.channels
    source.now = replace(
        source.now, channels=(msgspec.structs.replace(first, temperature_c=None), *rest)
    )
    assert any("no reading" in line for line in shown(source, (120, 40)))


def test_at_80_columns_the_check_and_the_caution_are_whole() -> None:
    text = " ".join(" ".join(shown(FakeSource())).split())
    assert "one place after another." in text
    assert "mains wiring is for licensed people." in text
    assert "rec 1.2 MB" in text


def test_an_open_circuit_is_clipped_marked_and_given_its_number() -> None:
    lines = shown(FakeSource())
    assert "988▲▲" in lines[1]
    assert "291▲" in lines[1]
    labels = [re.search(r" (\d+)$", line[: GUTTER - 1]) for line in lines[1:9]]
    assert max(float(label[1]) for label in labels if label) <= 250.0


def test_a_gap_is_empty_in_the_chart_and_unknown_in_every_ribbon() -> None:
    lines = shown(FakeSource())
    ribbon = row_of(lines, " bed ")[GUTTER:]
    first, last = ribbon.index("?"), ribbon.rindex("?")
    assert ribbon[first : last + 1] == "?" * (last - first + 1)
    for line in lines[1 : lines.index(row_of(lines, " events "))]:
        assert line[GUTTER + first + 1 : GUTTER + last].strip() == ""


def test_events_stand_on_the_time_axis_where_they_began() -> None:
    lines = shown(FakeSource())
    marks = row_of(lines, " events ")[GUTTER:]
    times = lines[lines.index(row_of(lines, " events ")) + 1][GUTTER:]
    assert "M" in marks
    assert "*" in marks
    assert marks.index("C") == times.index("0:10:00")
    assert marks.rstrip().endswith("F╌╌")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("view", list(ViewName))
def test_ascii_mode_is_ascii(size: tuple[int, int], view: ViewName) -> None:
    state = ScreenState(view=view)
    for state.help in (False, True):
        text = "".join(shown(FakeSource(), size, ascii_only=True, state=state))
        assert text.isascii()


@pytest.mark.parametrize("view", list(ViewName))
def test_a_hostile_text_changes_nothing_outside_its_line(view: ViewName) -> None:
    lines = shown(FakeSource(), (120, 40), view)
    assert all(line.isprintable() and len(line) == 120 for line in lines)
    if view in (ViewName.OVERVIEW, ViewName.EVENTS):
        assert "[red]x[/red]]52;" in row_of(lines, "link-loss")


def test_a_terminal_that_is_too_small_gets_one_clear_line() -> None:
    lines = shown(FakeSource(), (59, 16))
    assert lines[0].strip() == "needs 60x16 cells, has 59x16"
    assert not any(line.strip() for line in lines[1:])
    assert "needs" in shown(FakeSource(), (20, 3))[0]


@pytest.mark.parametrize("size", SIZES)
def test_rows_stay_where_they_are_when_everything_is_well(size: tuple[int, int]) -> None:
    """A fault that ends moves no row: the layout does not jump."""
    source = FakeSource()
    before = shown(source, size)
    well = tuple(replace_trust(item.channel, source) for item in source.now.channels)
    source.change(channels=well, causes=(), events=())
    after = shown(source, size)
    for word in ("›nozzle", " bed ", " events ", " shown "):
        assert before.index(row_of(before, word)) == after.index(row_of(after, word))
    assert "all true" in after[0]


def replace_trust(channel: str, source: FakeSource) -> object:
    health = next(item for item in source.now.channels if item.channel == channel)
    return msgspec.structs.replace(health, trust=Trust.TRUE, why="")


def test_before_the_first_update_the_screen_says_so() -> None:
    source = FakeSource()
    source.held = History()
    source.change(
        channels=(),
        events=(),
        causes=(),
        host=HostState.STARTING,
        link=LinkView(LinkState.CONNECTING, 754.0, float("nan")),
        recording=RecordingView("", 0),
    )
    for size in SIZES:
        text = "\n".join(shown(source, size))
        assert "no sensors yet" in text
        assert "link connecting" in text
        assert "host starting" in text


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("link", "status", "told"),
    [
        (
            LinkView(LinkState.CONNECTING, 0.0, math.nan, is_heard=False, lasted_s=5.2),
            "connecting 5s",
            ["Not connected yet, for 5 s.", "Try 1 is under way."],
        ),
        (
            LinkView(
                LinkState.LOST,
                0.0,
                math.nan,
                "connection refused",
                is_heard=False,
                lasted_s=22.0,
                attempts=6,
                next_try_s=17.4,
            ),
            "never connected, next try in 17s",
            ["for 22 s.", "Why: connection refused.", "Try 7 in 17 s"],
        ),
        (
            LinkView(LinkState.ENDED, 0.0, math.nan, "refused", is_heard=False, lasted_s=50.0),
            "never connected, given up",
            ["It was never connected.", "Why: refused.", "It is not tried again"],
        ),
    ],
)
def test_a_host_that_was_never_heard_says_why_and_what_comes_next(
    size: tuple[int, int], link: LinkView, status: str, told: list[str]
) -> None:
    """No age of data that never came, no state of a host that never spoke, no empty chart."""
    source = FakeSource()
    source.held = History()
    source.change(channels=(), events=(), causes=(), host=HostState.STARTING, link=link)
    lines = shown(source, size)
    text = "\n".join(lines)
    assert status in lines[0]
    assert all(words in text for words in told)
    assert not any(words in text for words in (" old", "host starting", "ended 0s", "no power"))


def test_a_lost_link_and_a_recording_that_fails_are_said_in_words() -> None:
    source = FakeSource()
    source.change(
        host=HostState.GONE,
        link=LinkView(LinkState.LOST, 730.0, 24.0, "refused"),
        recording=RecordingView("x.ohmv", 10, "disk full"),
    )
    status = shown(source, (120, 40))[0]
    assert "link lost 24s" in status
    assert "data 24s old" in status
    assert "host gone" in status
    assert "REC FAILS: disk full" in status


def test_many_sensors_keep_the_one_in_focus_in_sight() -> None:
    source = FakeSource()
    names = [f"probe{n}" for n in range(12)]
    first = source.now.channels[1]
    source.change(channels=tuple(msgspec.structs.replace(first, channel=n) for n in names))
    for name in names:
        lines = shown(source, state=ScreenState(channel=name))
        assert any(f"›{name}" in line for line in lines)


def test_a_replay_shows_its_cursor_and_how_it_plays() -> None:
    source = FakeSource()
    source.change(
        now_s=500.0,
        link=LinkView(LinkState.FILE, 0.0, 0.0),
        play=PlayView(500.0, 0.0, 754.5, 4.0, False),
        events=tuple(item for item in source.now.events if item.start_s <= 500.0),
    )
    lines = shown(source)
    assert "0:08:20 of 0:12:34 4×" in lines[0]
    assert "file" in lines[0]
    cursor = {line.index("│") for line in lines if "│" in line}
    assert len(cursor) == 1
    ribbon = row_of(lines, "›nozzle")
    assert ribbon[cursor.pop() + 1 :].strip() == ""
    assert "space play" in lines[-1]


def test_the_diagnosis_view_holds_evidence_check_and_what_was_not_evaluated() -> None:
    text = " ".join(" ".join(shown(FakeSource(), (80, 28), ViewName.DIAGNOSIS)).split())
    for words in (
        "first switch the heater off where the reading falls; find the contact first",
        "71% loose-connection",
        "for breaks only while the carriage moves",
        "against the last break has lasted 12 s",
        "look for A jump in the reading",
        "frozen on chamber: too quiet to tell",
        "facts nozzle: worked out: reference 402 Ω",
    ):
        assert words in text


def test_times_far_from_zero_are_shown_as_time_of_day() -> None:
    source = FakeSource()
    source.held = History()
    start_s = 1_767_225_600.0  # 2026-01-01 00:00:00 UTC
    source.held.append(
        batch_of([Update(start_s + n, {"bed.temperature_c": 20.0}) for n in range(300)])
    )
    source.change(now_s=start_s + 299.0, events=(), notes=())
    assert any("00:02:00" in line for line in shown(source))


def test_a_frame_drawn_twice_is_the_same() -> None:
    source = FakeSource()
    state = ScreenState()
    state.settle(source.now)
    frame = ScreenFrame(source.now, state, source.history, glyphs_for(False))
    one, two = paint(80, 24, frame, False), paint(80, 24, frame, False)
    assert two.changes(one) == []


def test_the_axis_does_not_change_while_time_goes_on() -> None:
    """Frame by frame through the breaks: the axis changes only when the heat in sight does."""
    source = FakeSource()
    state = ScreenState(channel="nozzle")
    axes = []
    for now_s in np.arange(700.0, 754.0, 0.5):
        source.change(now_s=float(now_s))
        shown(source, state=state)
        axes.append(state.axes["nozzle", state.window.zoom])
    assert len(dict.fromkeys(axes)) <= 4
    assert all(axis.top <= 250.0 for axis in axes)


def test_acknowledging_shows_in_the_event_list() -> None:
    source = FakeSource()
    source.change(acknowledged=frozenset({5}))
    state = ScreenState(view=ViewName.EVENTS, selected=5)
    assert any("acknowledged" in line for line in shown(source, state=state))


@pytest.mark.parametrize("cells", [28, 48, 49, 89])
def test_a_young_watch_fills_its_window_from_the_left(cells: int) -> None:
    """The first update stays in sight, at the left edge, until the window is full."""
    source = FakeSource()
    state = ScreenState(channel="nozzle")
    for now_s in (1.0, 60.0, 280.0):
        source.change(now_s=now_s)
        grid = take_picture(source.history, source.now, state, cells).grid
        assert grid.cell_of(0.0) in (0, 1)
        assert grid.end_s > now_s


def test_many_causes_do_not_push_the_check_out_of_sight() -> None:
    source = FakeSource()
    few = source.now.causes[0]
    many = [
        msgspec.structs.replace(few, probability=0.02, cause=cause) for cause in list(Cause)[:10]
    ]
    source.change(causes=(few, *many))
    lines = shown(source, view=ViewName.DIAGNOSIS)
    assert any(line.startswith("next") for line in lines)
    assert lines[-2].strip().endswith("lines below")


def test_a_chattering_fault_does_not_flatten_the_chart_ahead_of_the_cursor() -> None:
    """In a replay the future is drawn, but it does not set the axis."""
    source = FakeSource()
    play = PlayView(680.0, 0.0, 754.5, 1.0, True)
    early = tuple(item for item in source.now.events if item.start_s <= 680.0)
    source.change(now_s=680.0, play=play, events=early)
    state = ScreenState(channel="nozzle")
    take_picture(source.history, source.now, state, 48)
    assert state.axes["nozzle", state.window.zoom].top <= 250.0


def test_a_reading_that_is_open_from_the_start_still_gets_its_number() -> None:
    """Arrows from edge to edge leave no room beside them: the number stands among them."""
    source = FakeSource()
    source.held = History()
    rows = [Update(n / 4, {"nozzle.temperature_c": 988.4}) for n in range(3000)]
    source.held.append(batch_of(rows))
    always = msgspec.structs.replace(source.now.events[-1], start_s=0.0)
    source.change(events=(always,), now_s=749.0)
    for size in SIZES:
        top = shown(source, size)[1][GUTTER:]
        assert "988" in top
        assert "▲▲▲" in top


def test_what_concerns_all_channels_is_called_all() -> None:
    source = FakeSource()
    network = msgspec.structs.replace(source.now.causes[0], channel="*", cause=Cause.NETWORK)
    source.change(causes=(network,))
    assert any("all: network" in line for line in shown(source))
    assert any(
        "link-loss on all" in line
        for line in shown(
            source, view=ViewName.EVENTS, state=ScreenState(view=ViewName.EVENTS, selected=3)
        )
    )


@pytest.mark.parametrize("size", [(60, 16), (80, 24), (160, 50)])
def test_what_must_be_done_at_once_leads_the_hint_and_cause_and_check_stay(
    size: tuple[int, int],
) -> None:
    """Nobody has to open a view to read that the plug is to be pulled."""
    source = FakeSource()
    stop = "bed: pull the plug now, a command does not help, do not heat again"
    told = Verdict(severity=Severity.FAILURE, text=f"{stop}; bed: heater circuit", stop=stop)
    source.now = replace(source.now, verdict=told)
    lines = shown(source, size)
    (row,) = [row for row, line in enumerate(lines) if "pull the plug now" in line]
    assert stop in " ".join(" ".join(lines[row : row + 2]).split())
    (cause,) = [at for at, line in enumerate(lines) if line.lstrip().startswith("71%")]
    assert cause - row in (1, 2)
    assert size[1] < 24 or "next" in " ".join(lines[cause + 1 :])
