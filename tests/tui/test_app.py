"""Behaviour of the screen through its keys."""

import re
from collections.abc import AsyncIterator
from dataclasses import replace

import pytest
import pytest_asyncio
from textual.binding import Binding
from textual.pilot import Pilot

from tests.tui.fakes import NOW_S, FakeSource, event
from tui.app import OhmvigilApp
from tui.keys import KEYS
from tui.snapshot import LinkState, LinkView, PlayView
from tui.state import ViewName

Screen = tuple[OhmvigilApp, Pilot[None], FakeSource]


@pytest_asyncio.fixture
async def screen() -> AsyncIterator[Screen]:
    source = FakeSource()
    app = OhmvigilApp(source)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        yield app, pilot, source


@pytest_asyncio.fixture
async def replayed() -> AsyncIterator[Screen]:
    source = FakeSource()
    source.change(
        link=LinkView(LinkState.FILE, 0.0, 0.0),
        play=PlayView(NOW_S, 0.0, NOW_S, 1.0, True, tuple(e.start_s for e in source.now.events)),
    )
    app = OhmvigilApp(source)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        yield app, pilot, source


def text(app: OhmvigilApp) -> str:
    assert app.board is not None
    return "\n".join(app.board.lines())


def test_every_binding_has_an_id_and_none_takes_a_terminal_key() -> None:
    for binding in OhmvigilApp.BINDINGS:
        assert isinstance(binding, Binding)
        assert binding.id
        assert not {"ctrl+a", "ctrl+b", "ctrl+s"} & set(binding.key.split(","))


def test_no_key_means_two_things_in_one_view() -> None:
    for view in ViewName:
        for replaying in (False, True):
            taken = [
                name
                for key in KEYS
                if view in key.views and key.replay in (None, replaying)
                for name in key.keys.split(",")
            ]
            assert len(taken) == len(set(taken))


def test_every_key_leads_to_an_action_that_exists() -> None:
    for key in KEYS:
        assert hasattr(OhmvigilApp, f"action_{key.action.partition('(')[0]}")


async def test_digits_and_tab_change_the_view(screen: Screen) -> None:
    app, pilot, _ = screen
    for key, view in (("2", "events"), ("3", "diagnosis"), ("5", "notes"), ("1", "overview")):
        await pilot.press(key)
        assert app.state.view == view
    await pilot.press("tab")
    assert app.state.view == "events"
    await pilot.press("escape")
    assert app.state.view == "overview"


async def test_space_pauses_the_chart_and_goes_on(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("space")
    assert "paused" in text(app)
    held = app.state.window
    source.change(now_s=NOW_S + 100.0)
    app.repaint()
    assert app.state.window == held
    await pilot.press("space")
    assert app.state.window.follows
    assert "live" in text(app)


async def test_arrows_and_letters_pan(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("left")
    assert app.state.window.end_s == NOW_S - 75.0
    await pilot.press("h", "l", "right")
    assert app.state.window.end_s == NOW_S
    await pilot.press("G")
    assert app.state.window.follows
    await pilot.press("g")
    assert app.state.window.cursor_s == 0.0


async def test_plus_minus_and_zero_zoom(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("plus")
    assert "2 min shown" in text(app)
    await pilot.press("minus", "minus")
    assert "10 min shown" in text(app)
    await pilot.press("0")
    assert "5 min shown" in text(app)


async def test_capital_n_and_n_go_from_event_to_event(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("N")
    assert app.state.window.cursor_s == 742.0
    assert "code-high" in text(app).splitlines()[-1]
    await pilot.press("N", "N")
    assert app.state.window.cursor_s == 600.0
    await pilot.press("n")
    assert app.state.window.cursor_s == 690.0
    await pilot.press("n", "n")
    assert "no later event" in text(app)


async def test_the_cursor_reads_the_chart(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("N", "N", "N", "comma")
    assert app.state.window.cursor_s is not None
    assert app.state.window.cursor_s < 600.0
    assert "nozzle at 0:09:54" in text(app)
    assert "true then" in text(app)
    await pilot.press("full_stop")
    assert app.state.window.cursor_s == pytest.approx(600.0)


async def test_up_down_and_c_choose_the_sensor(screen: Screen) -> None:
    app, pilot, _ = screen
    assert app.state.channel == "nozzle"
    await pilot.press("down")
    assert app.state.channel == "bed"
    await pilot.press("c", "j", "j")
    assert app.state.channel == "nozzle"
    await pilot.press("k")
    assert app.state.channel == "board"
    assert "no power signal" in text(app)


async def test_a_note_lands_now_or_at_the_cursor(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("m", *"quite", "space", *"mqn1", "enter")
    assert source.calls == [("note", "quite mqn1", NOW_S)]
    assert app.state.view == "overview"
    await pilot.press("N", "m", *"here", "enter")
    assert source.calls[-1] == ("note", "here", 742.0)
    await pilot.press("5")
    assert "quite mqn1" in text(app)


async def test_a_note_can_be_given_up(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("m", *"no", "escape", "2")
    assert source.calls == []
    assert app.state.view == "events"
    await pilot.press("m", "enter")
    assert source.calls == []


async def test_the_filter_narrows_the_list_while_it_is_typed(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("slash", *"nozzle fail".replace(" ", "_").replace("_", " ").split()[0])
    assert "4 of 5 with: nozzle" in text(app)
    await pilot.press("space", *"break", "enter")
    assert "1 of 5 with: nozzle break" in text(app)
    await pilot.press("escape")
    assert "5 events" in text(app)


async def test_enter_shows_the_event_in_the_chart(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("2", "down", "down", "down", "enter")
    assert app.state.view == "overview"
    assert app.state.window.cursor_s == 520.0


async def test_a_acknowledges_the_selected_event(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("2", "j", "a")
    assert source.now.acknowledged == {1, 4}
    assert "contact-break on nozzle acknowledged" in text(app)
    assert "Fa 0:11:30" in text(app).replace("Fa  ", "Fa ")
    await pilot.press("a")
    assert "acknowledged already" in text(app)


async def test_g_and_capital_g_go_to_the_ends_of_the_list(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("2", "G")
    assert app.state.selected == 1
    await pilot.press("g")
    assert app.state.selected == 5


async def test_a_selected_event_stays_selected_when_newer_ones_come(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("2", "j")
    newer = event(6, source.now.events[1].kind, 750.0, 750.0)
    source.change(events=(*source.now.events, newer))
    app.repaint()
    assert app.state.selected == 4
    assert "14 short excursions toward open and back while the carriage moves" in text(app)


async def test_y_copies_the_event_in_its_view_and_the_diagnosis_elsewhere(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("y")
    assert "loose-connection" in app.clipboard
    await pilot.press("2", "y")
    assert app.clipboard.startswith("F failure: code-high on nozzle")
    assert not re.search(r"[\x00-\x09\x0b-\x1f]", app.clipboard)


@pytest.mark.parametrize("view", ["1", "2", "3", "5"])
async def test_help_is_for_the_view_in_focus(screen: Screen, view: str) -> None:
    app, pilot, _ = screen
    await pilot.press(view, "question_mark")
    assert "is no safety device" in text(app)
    assert ("acknowledge the event" in text(app)) is (view in "12")
    await pilot.press("f1")
    assert "is no safety device" not in text(app)


async def test_the_palette_runs_our_commands(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("ctrl+p")
    await pilot.pause()
    await pilot.press(*"causes", "space", *"and")
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.press("enter")
    await pilot.pause()
    assert app.state.view == "diagnosis"


@pytest.mark.parametrize("key", ["q", "ctrl+q", "ctrl+c"])
async def test_quitting(key: str) -> None:
    app = OhmvigilApp(FakeSource())
    async with app.run_test() as pilot:
        await pilot.press(key)
        await pilot.pause()
        assert not app.is_running or app._exit


async def test_a_click_chooses_a_sensor_or_moves_the_cursor(screen: Screen) -> None:
    app, pilot, _ = screen
    rows = text(app).splitlines()
    bed = next(y for y, line in enumerate(rows) if line.startswith(" bed"))
    await pilot.click(offset=(40, bed))
    assert app.state.channel == "bed"
    await pilot.click(offset=(50, 4))
    assert app.state.window.cursor_s is not None
    assert not app.state.window.follows


async def test_in_a_replay_space_plays_and_arrows_seek(replayed: Screen) -> None:
    app, pilot, source = replayed
    await pilot.press("space", "greater_than_sign", "less_than_sign", "left", "g")
    assert source.calls == [
        ("play", 1.0, False),
        ("play", 2.0, False),
        ("play", 1.0, False),
        ("seek", NOW_S - 75.0),
        ("seek", 0.0),
    ]
    assert app.state.window.follows


async def test_in_a_replay_n_finds_events_that_are_not_shown_yet(replayed: Screen) -> None:
    _, pilot, source = replayed
    await pilot.press("g")
    source.change(events=())
    await pilot.press("n", "n")
    assert source.calls[-2:] == [("seek", 2.0), ("seek", 520.0)]


async def test_a_smaller_terminal_is_told_and_a_larger_one_is_used(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.resize_terminal(50, 12)
    await pilot.pause()
    assert "needs 60x16 cells, has 50x12" in text(app)
    await pilot.resize_terminal(120, 40)
    await pilot.pause()
    assert app.board is not None
    assert (app.board.width, app.board.height) == (120, 40)


async def test_what_is_shown_is_what_was_painted(screen: Screen) -> None:
    """The terminal library's own picture holds the board's words, markup and all."""
    app, pilot, source = screen
    source.change(title="[red]x[/red]")
    app.repaint()
    await pilot.pause()
    svg = app.export_screenshot().replace("&#160;", " ")
    words = re.sub(r"<[^>]*>", "", svg)
    assert "[red]x[/red]" in words
    assert "loose-connection" in words
    assert replace(source.now).title in text(app)


async def test_in_ascii_nothing_beyond_ascii_is_drawn_by_any_key() -> None:
    app = OhmvigilApp(FakeSource(), ascii_only=True)
    async with app.run_test(size=(80, 24)) as pilot:
        for key in ("1", "N", "2", "3", "5", "question_mark", "ctrl+p"):
            await pilot.press(key)
            await pilot.pause()
            assert text(app).isascii()
            assert app.screen is app.screen_stack[0]
