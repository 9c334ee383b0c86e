"""The list of hosts and the way into one of them, through the keys."""

import re
from collections.abc import AsyncIterator
from dataclasses import dataclass, replace

import msgspec
import pytest
import pytest_asyncio
from textual.pilot import Pilot

from shared.events import Verdict
from shared.health import Trust
from shared.words import Kind, Severity
from tests.tui.fakes import HOSTILE, NOW_S, FakeSource, event, snapshot
from tui.board import Board
from tui.keys import SEVERAL_KEYS
from tui.several import SeveralApp
from tui.snapshot import LinkState, LinkView, RecordingView, Snapshot
from tui.state import ScreenState, ViewName
from tui.views.frame import ScreenFrame, glyphs_for
from tui.views.several import columns, first_shown, list_rows, paint_several
from tui.views.status import short_title

SIZES = [(80, 24), (120, 40), (60, 16)]


def healthy(title: str) -> FakeSource:
    """A host on which nothing goes on and every reading is true."""
    source = FakeSource(replace(snapshot(), title=title))
    channels = tuple(
        type(health)(
            channel=health.channel,
            trust=Trust.TRUE,
            since_s=0.0,
            why="",
            gate=health.gate,
            temperature_c=30.0,
        )
        for health in source.now.channels
    )
    ended = tuple(each for each in source.now.events if not each.is_active)
    source.change(channels=channels, events=ended, causes=())
    return source


def failed(title: str, why: str = "connection refused") -> FakeSource:
    """A host that was never reached and is not tried again."""
    source = healthy(title)
    source.change(channels=(), events=(), link=LinkView(LinkState.ENDED, 0.0, 5.0, why), now_s=0.0)
    return source


def sources() -> list[FakeSource]:
    """In the order of the command line: well, at fault, out of reach."""
    ill = FakeSource(replace(snapshot(), title="garage"))
    return [healthy("attic"), ill, failed("cellar")]


@dataclass
class Screen:
    app: SeveralApp
    pilot: Pilot[None]
    sources: list[FakeSource]

    @property
    def lines(self) -> list[str]:
        assert self.app.board is not None
        return self.app.board.lines()

    @property
    def view(self) -> str:
        return self.app.state.view

    @property
    def titles(self) -> list[str]:
        return [line[3:].split()[0] for line in self.lines[2:5]]

    @property
    def chosen(self) -> str:
        (line,) = [line for line in self.lines[2:5] if line.startswith("›")]
        return line[3:].split()[0]


@pytest_asyncio.fixture
async def screen() -> AsyncIterator[Screen]:
    given = sources()
    app = SeveralApp(given)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        yield Screen(app, pilot, given)


def painted(
    given: list[FakeSource], size: tuple[int, int] = (80, 24), ascii_only: bool = False
) -> list[str]:
    frames = []
    for source in given:
        state = ScreenState(is_one_of_several=True)
        state.settle(source.now)
        frames.append(ScreenFrame(source.now, state, source.history, glyphs_for(ascii_only)))
    board = Board(*size, ascii_only)
    paint_several(board, frames, list(range(len(given))), 0)
    return board.lines()


def row_of(lines: list[str], word: str) -> str:
    return next(line for line in lines if word in line)


def test_each_list_key_leads_to_an_action_and_none_means_two_things() -> None:
    taken = [name for key in SEVERAL_KEYS for name in key.keys.split(",")]
    assert len(taken) == len(set(taken))
    for key in SEVERAL_KEYS:
        assert hasattr(SeveralApp, f"action_{key.action.partition('(')[0]}")


# -- what is shown --


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_a_line_says_link_age_reading_event_and_why_a_host_is_gone(
    size: tuple[int, int], ascii_only: bool
) -> None:
    lines = painted(sources(), size, ascii_only)
    garage, cellar = row_of(lines, "garage"), row_of(lines, "cellar")
    glyph = "#" if ascii_only else "█"
    assert garage[1] == "F"
    assert "open   0s" in garage
    assert f"988.4{glyph}" in garage
    assert "code-high" in garage
    assert cellar[1] == "C"
    assert "ended" in cellar
    assert "connection refused" in cellar
    assert all(len(line) == size[0] for line in lines)
    assert not ascii_only or "".join(lines).isascii()


@pytest.mark.parametrize("size", SIZES[:2])
def test_the_leading_cause_has_its_probability(size: tuple[int, int]) -> None:
    assert "71% loose-connection" in row_of(painted(sources(), size), "garage")


def test_an_unlikely_cause_is_not_shown_as_the_most_likely() -> None:
    given = sources()
    few = tuple(msgspec.structs.replace(one, probability=0.04) for one in given[1].now.causes)
    given[1].now = replace(given[1].now, causes=few)
    row = row_of(painted(given), "garage")
    assert "cause not clear" in row
    assert "4%" not in row


def test_a_host_whose_heat_has_to_stop_says_so_in_its_line() -> None:
    """In the place of a cause: what is done at once comes before why."""
    given = sources()
    stop = "bed: pull the plug now, a command does not help, do not heat again"
    told = Verdict(severity=Severity.FAILURE, text=stop, stop=stop)
    given[1].now = replace(given[1].now, verdict=told)
    for size in SIZES[:2]:
        assert "bed: pull the plug" in row_of(painted(given, size), "garage")


def test_totals_count_hosts_severities_links_and_sensors() -> None:
    top = painted(sources(), (120, 40))[0]
    assert top.startswith("3 hosts  1 failure  1 check-function  2 of 3 links open")
    assert "6 of 8 sensors true" in top
    assert "rec 3.7 MB" in top


def test_a_recording_that_fails_is_named_on_top() -> None:
    given = sources()
    given[0].change(recording=RecordingView("a.ohmv", 10, "the disk is full"))
    assert "REC FAILS on attic" in painted(given)[0]


def test_a_reading_without_room_is_counted_with_the_worst_trust_of_those() -> None:
    """At 80 columns the board's doubtful reading has no column of its own."""
    head, garage = painted(sources())[1], row_of(painted(sources()), "garage")
    assert "board" not in head
    assert re.search(r"\+\d▒", garage)
    wide = row_of(painted(sources(), (120, 40)), "garage")
    assert "41.0▒" in wide
    assert "+" not in wide


def test_what_has_ended_is_shown_as_ended() -> None:
    attic = row_of(painted(sources(), (120, 40)), "attic")
    assert attic[1] == " "
    assert "contact-break" in attic
    assert "18s ago" in attic


def test_columns_stand_still_while_values_change() -> None:
    given = sources()
    before = columns(80, [source.now for source in given])
    given[0].change(events=(), causes=(), link=LinkView(LinkState.LOST, 0.0, 99.0, "no route"))
    assert columns(80, [source.now for source in given]) == before


@pytest.mark.parametrize("size", SIZES)
def test_hostile_words_reach_no_cell_as_commands(size: tuple[int, int]) -> None:
    given = [failed(HOSTILE, HOSTILE), *sources()]
    assert not re.search("[\x00-\x1f\u202a-\u202e]", "".join(painted(given, size)))


@pytest.mark.parametrize(
    ("title", "width", "short"),
    [
        ("garage", 15, "garage"),
        ("ws://127.0.0.1:7950", 15, "127.0.0.1:7950"),
        ("ws://attic.example:9000/feed", 15, "…mple:9000/feed"),
        ("Printer in the attic", 15, "Printer in the…"),
    ],
)
def test_a_title_keeps_what_tells_hosts_apart(title: str, width: int, short: str) -> None:
    assert short_title(title, width) == short


@pytest.mark.parametrize("height", [16, 24, 40])
@pytest.mark.parametrize("hosts", [2, 5, 30])
def test_the_chosen_host_is_always_in_sight(height: int, hosts: int) -> None:
    rows = list_rows(height, hosts)
    for chosen in range(hosts):
        first = first_shown(height, hosts, chosen)
        assert 0 <= first <= chosen < first + rows <= hosts


def test_a_long_list_says_how_many_are_out_of_sight() -> None:
    assert "28 below" in "\n".join(painted([healthy(f"host{n}") for n in range(33)], (60, 16)))


# -- keys --


async def test_the_worst_stands_on_top_and_is_chosen(screen: Screen) -> None:
    assert screen.titles == ["garage", "cellar", "attic"]
    assert screen.chosen == "garage"
    assert "garage" in screen.lines[6]


async def test_enter_opens_the_hosts_screen_and_escape_leads_back(screen: Screen) -> None:
    await screen.pilot.press("enter")
    assert screen.lines[0].startswith("garage  nozzle false")
    assert "bksp hosts" in screen.lines[-1]
    assert screen.app.source is screen.sources[1]
    await screen.pilot.press("2")
    assert screen.view == ViewName.EVENTS
    await screen.pilot.press("escape")
    assert screen.view == ViewName.OVERVIEW
    assert not screen.app.is_listing
    await screen.pilot.press("escape")
    assert screen.app.is_listing
    assert screen.titles == ["garage", "cellar", "attic"]


async def test_backspace_leads_back_from_any_view_but_not_out_of_a_word(screen: Screen) -> None:
    await screen.pilot.press("enter", "3", "backspace")
    assert screen.app.is_listing
    await screen.pilot.press("enter", "m", "x", "y", "backspace", "enter")
    assert not screen.app.is_listing
    assert ("note", "x", NOW_S) in screen.sources[1].calls


async def test_each_host_keeps_its_own_view(screen: Screen) -> None:
    await screen.pilot.press("enter", "5", "backspace", "down", "down", "enter")
    assert screen.app.source is screen.sources[0]
    assert screen.view == ViewName.OVERVIEW
    await screen.pilot.press("2", "backspace", "up", "up", "enter")
    assert screen.view == ViewName.NOTES


async def test_enter_still_shows_the_event_and_begins_the_check(screen: Screen) -> None:
    """The key that opens a host keeps its other meanings in the host's screen."""
    await screen.pilot.press("enter", "2", "enter")
    assert screen.view == ViewName.OVERVIEW
    assert not screen.app.is_listing


async def test_keys_of_a_hosts_screen_mean_nothing_in_the_list(screen: Screen) -> None:
    before = screen.lines
    await screen.pilot.press("2", "m", "space", "slash", "e", "T", "y", "tab", "ctrl+p")
    assert screen.app.is_listing
    assert screen.lines == before
    assert len(screen.app.screen_stack) == 1
    assert not any(source.calls for source in screen.sources)


async def test_the_choice_stays_with_its_host_when_places_change(screen: Screen) -> None:
    await screen.pilot.press("down", "down")
    assert screen.chosen == "attic"
    worse = event(9, Kind.SPIKE, NOW_S + 1.0, None, severity=Severity.FAILURE)
    screen.sources[0].change(
        events=(*screen.sources[0].now.events, worse), link=LinkView(LinkState.LOST, 0.0, 9.0, "x")
    )
    screen.app.repaint()
    assert screen.titles == ["attic", "garage", "cellar"]
    assert screen.chosen == "attic"


async def test_home_follows_the_worst_again(screen: Screen) -> None:
    await screen.pilot.press("end")
    assert screen.chosen == "attic"
    await screen.pilot.press("home")
    assert screen.chosen == "garage"


async def test_a_host_that_recovers_keeps_its_place_for_a_while(screen: Screen) -> None:
    screen.sources[1].now = replace(healthy("garage").now)
    screen.app.repaint()
    assert screen.titles == ["garage", "cellar", "attic"]
    assert screen.lines[2][1] == " "


async def test_help_lists_the_keys_and_closes(screen: Screen) -> None:
    await screen.pilot.press("question_mark")
    text = "\n".join(screen.lines)
    assert "worst first" in text
    assert "this host's own screen" in text
    assert "no safety device" in text
    await screen.pilot.press("enter")
    assert screen.app.is_listing
    await screen.pilot.press("escape")
    assert screen.chosen == "garage"


async def test_a_second_click_opens_a_host(screen: Screen) -> None:
    await screen.pilot.click(offset=(10, 4))
    assert screen.chosen == "attic"
    await screen.pilot.click(offset=(10, 4))
    assert screen.app.source is screen.sources[0]
    assert not screen.app.is_listing


async def test_clicks_in_a_hosts_screen_are_taken_once(screen: Screen) -> None:
    await screen.pilot.press("enter")
    await screen.pilot.click(offset=(40, 3))
    assert not screen.app.state.window.follows


async def test_only_cells_that_changed_are_sent(screen: Screen) -> None:
    before = screen.app.board
    assert before is not None
    now: Snapshot = screen.sources[0].now
    first, *rest = now.channels
    screen.sources[0].change(channels=(replace_reading(first, 31.0), *rest))
    screen.app.repaint()
    assert screen.app.board is not None
    changes = screen.app.board.changes(before)
    assert changes is not None
    assert [run.y for run in changes] == [4]
    assert sum(run.width for run in changes) <= 4


def replace_reading(health: object, celsius: float) -> object:
    import msgspec

    return msgspec.structs.replace(health, temperature_c=celsius)  # type: ignore[type-var]


async def test_a_message_of_one_host_does_not_stay_after_it_is_left(screen: Screen) -> None:
    await screen.pilot.press("enter", "2", "a")
    assert "on nozzle acknowledged" in screen.lines[-1]
    await screen.pilot.press("backspace")
    assert "on nozzle acknowledged" not in screen.lines[-1]


async def test_a_small_screen_says_what_it_needs() -> None:
    app = SeveralApp(sources())
    async with app.run_test(size=(40, 10)) as pilot:
        await pilot.pause()
        assert app.board is not None
        assert "needs 60x16" in "\n".join(app.board.lines())
