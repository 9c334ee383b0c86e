"""The check guide and the trials view: caution first, marks, bells, answers, what is drawn."""

import itertools
from collections.abc import AsyncIterator, Iterator
from unittest.mock import patch

import pytest
import pytest_asyncio
from textual.pilot import Pilot

from detectors.diagnosis import diagnose
from detectors.diagnosis.checks import CATALOGUE
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial
from shared.updates import Update, batch_of
from shared.words import Kind
from tests.detectors.diagnosis.found import event
from tests.detectors.measured.rows import rows
from tests.levels import one_in
from tests.tui.fakes import NOW_S, FakeSource
from tui.app import OhmvigilApp
from tui.bigdigits import ROWS, ohms_text, paint_big, size_for
from tui.board import Board, Rect
from tui.guide import Guide, GuideStage, number_in, open_guide
from tui.state import ScreenState, ViewName
from tui.views.check import paint_check
from tui.views.frame import ScreenFrame, glyphs_for
from tui.views.trials import staircase

Screen = tuple[OhmvigilApp, Pilot[None], FakeSource]
SIZES = [(80, 24), (120, 40), (60, 16)]


def lines_of(guide: Guide, size: tuple[int, int] = (80, 22)) -> str:
    """What the guide's view shows."""
    board = Board(*size)
    source = FakeSource()
    state = ScreenState(view=ViewName.CHECK, guide=guide)
    paint_check(
        board, Rect(0, 0, *size), ScreenFrame(source.now, state, source.history, glyphs_for(False))
    )
    return " ".join(" ".join(board.lines()).split())


def text(app: OhmvigilApp) -> str:
    assert app.board is not None
    return "\n".join(app.board.lines())


def goes_on(source: FakeSource, updates: Iterator[Update]) -> None:
    """Hand updates to the screen's source; its time is then that of the last."""
    part = list(updates)
    source.held.append(batch_of(part))
    source.change(now_s=part[-1].time_s)


@pytest_asyncio.fixture
async def screen() -> AsyncIterator[Screen]:
    source = FakeSource()
    app = OhmvigilApp(source)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        yield app, pilot, source


async def test_the_caution_stands_before_the_first_step(screen: Screen) -> None:
    """The next check opens from the causes; nothing begins before enter."""
    app, pilot, _ = screen
    await pilot.press("3", "e")
    assert app.state.view == "check"
    shown = text(app)
    words = " ".join(shown.split())
    assert CATALOGUE["wiggle-cable"].caution in words
    assert "enter: I have read it, begin." in words
    assert "hands off" not in words
    await pilot.press("enter")
    assert "hands off" in text(app)
    await pilot.press("escape")
    assert app.state.view == "diagnosis"


async def test_digits_are_marks_in_a_check_and_views_elsewhere(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("e", "enter", "2")
    assert app.state.view == "check"
    goes_on(source, rows(5.0, {"nozzle": lambda _: 109.0}, from_s=NOW_S + 1.0))
    app.repaint()
    assert "> 2" in text(app)
    await pilot.press("escape", "2")
    assert app.state.view == "events"


async def test_every_break_rings_the_bell_and_shows(screen: Screen) -> None:
    """Three jumps: three bells, the count, and the word."""
    app, pilot, source = screen
    await pilot.press("e", "enter")
    steady = {"nozzle": lambda _: 109.0}
    goes_on(source, rows(20.0, steady, from_s=NOW_S + 1.0))
    app.repaint()
    # The bench begins at an open reading in this source: that return is no break of the check.
    assert app.state.guide is not None
    before = app.state.guide.progress
    assert before is not None
    with patch.object(app, "bell") as bell:
        for number in range(3):
            start = NOW_S + 21.0 + 10.0 * number
            jump = {"nozzle": lambda at, s=start: 109.0 + 20.0 * (s + 5.0 <= at < s + 5.5)}
            goes_on(source, rows(6.0, jump, from_s=start))
            app.repaint()
            assert bell.call_count == number + 1
            assert "BREAK" in text(app)
            goes_on(source, rows(4.0, steady, from_s=start + 6.0))
            app.repaint()
    assert f"{before.breaks + 3} breaks" in text(app)
    assert "BREAK" not in text(app)


async def test_a_check_goes_on_while_another_view_is_shown(screen: Screen) -> None:
    app, pilot, source = screen
    await pilot.press("e", "enter", "1", "escape", "1")
    assert app.state.view == "overview"
    goes_on(source, rows(12.0, {"nozzle": lambda _: 109.0}, from_s=NOW_S + 1.0))
    app.repaint()
    await pilot.press("e")
    assert app.state.guide is not None
    assert app.state.guide.stage is GuideStage.RUNNING
    assert "1 connector at the board or host 0 in" in " ".join(text(app).split())


async def test_an_outcome_can_be_answered_by_hand(screen: Screen) -> None:
    """The answer goes to the source with what the diagnosis needs."""
    app, pilot, source = screen
    await pilot.press("e", "enter", "B")
    assert source.calls[-1][3:] == (
        "answer",
        {
            "channel": "nozzle",
            "check": "wiggle-cable",
            "outcome": "breaks-in-the-cable",
            "from_s": NOW_S,
        },
    )
    assert "answered: wiggle-cable: breaks-in-the-cable" in text(app)
    await pilot.press("A")
    assert len(source.calls) == 1


async def test_a_measured_finding_is_recorded_with_its_numbers(screen: Screen) -> None:
    """Two minutes of moving without a break."""
    app, pilot, source = screen
    await pilot.press("e", "enter")
    for number in range(5):
        await pilot.press(str(number))
        start = NOW_S + 1.0 + 25.0 * number
        goes_on(source, rows(25.0, {"nozzle": lambda _: 109.0}, from_s=start, seed=number))
        app.repaint()
    assert "found" in text(app)
    await pilot.press("enter")
    *_, kind, facts = source.calls[-1]
    assert kind == "answer"
    assert isinstance(facts, dict)
    assert facts["outcome"] == "no-break"
    assert facts["strain relief: breaks"] == 0.0


async def test_a_number_is_typed_where_one_is_asked_for(screen: Screen) -> None:
    app, pilot, _ = screen
    app.action_check("resistor")
    await pilot.press("enter")
    assert "type the resistor" in text(app)
    await pilot.press("v", *"100,1", "enter")
    assert "Join 100.1 Ω at the board" in text(app)


async def test_capital_t_starts_a_trial(screen: Screen) -> None:
    _, pilot, source = screen
    await pilot.press("T", *"three", "space", *"wires", "enter")
    assert source.calls == [("note", "three wires", NOW_S, "trial", {})]


async def test_a_change_from_its_check_names_it(screen: Screen) -> None:
    """A trial that is started in a check that changes something is evidence for it."""
    app, pilot, source = screen
    app.action_check("add-capacitance")
    await pilot.press("enter", "T", "enter")
    assert source.calls[-1][1:] == (
        "add capacitance",
        NOW_S,
        "trial",
        {"channel": "nozzle", "change": "add-capacitance"},
    )


async def test_the_palette_finds_a_measured_check(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("ctrl+p")
    await pilot.pause()
    await pilot.press(*"exchange", "space", *"two")
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.press("enter")
    await pilot.pause()
    assert app.state.view == "check"
    assert app.state.guide is not None
    assert app.state.guide.item.title == "swap inputs (measured: exchange two sensors)"


@pytest.mark.parametrize(
    ("name", "size"), one_in(5, itertools.product([*CATALOGUE, "cold", "two-point"], SIZES))
)
def test_every_check_fits_with_its_caution_whole(name: str, size: tuple[int, int]) -> None:
    """Before it begins, at 80 columns and beyond; where hardware is touched it is never empty."""
    source = FakeSource()
    guide = open_guide(source, source.now, "nozzle", name)
    shown = lines_of(guide, (size[0], size[1] - 2))
    assert guide.caution in shown or size[0] < 80
    form = guide.item.form
    if form is not None and form.risk > 0:
        assert guide.caution
    guide.begin(source.now)
    assert lines_of(guide, (size[0], size[1] - 2))


def test_digits_are_as_large_as_fits() -> None:
    assert size_for("109.73", 66, 12) == (3, 2)
    assert size_for("109.73", 104, 20) == (4, 3)
    assert size_for("109.73", 20, 4) is None
    board = Board(80, 24)
    used = paint_big(board, Rect(0, 0, 66, 12), "109.73")
    assert used.height == 2 * ROWS
    assert board.lines()[0].startswith("   ███")


@pytest.mark.parametrize(
    ("ohms", "shown"),
    [(109.734, "109.73"), (1097.34, "1097.3"), (10973.0, "10973"), (float("nan"), "---")],
)
def test_ohms_take_six_characters_at_most(ohms: float, shown: str) -> None:
    assert ohms_text(ohms) == shown
    assert ohms_text(ohms, is_open=True) == "OPEN"


@pytest.mark.parametrize(
    ("typed", "number"), [("100", 100.0), (" 100,1 Ω", 100.1), ("450m", 450.0), ("x", None)]
)
def test_numbers_are_read_as_people_type_them(typed: str, number: float | None) -> None:
    assert number_in(typed) == number


def group(*parts: tuple[str, int, float, TrialOutcome]) -> tuple[KindTrial, ...]:
    """Trials of one kind, faults spread evenly."""
    return tuple(
        KindTrial(
            trial=number,
            name=name,
            change="",
            channel="nozzle",
            kind=Kind.CONTACT_BREAK,
            state="moving",
            count=count,
            outside=0,
            hours=hours,
            rate_per_h=count / hours,
            low_per_h=0.1,
            high_per_h=9.0,
            metres=120.0,
            heat_ups=None,
            ratio=0.25 if number else None,
            ratio_low=0.1 if number else None,
            ratio_high=0.6 if number else None,
            p=0.01 if number else None,
            further_h=0.5 if outcome is TrialOutcome.TOO_EARLY else None,
            outcome=outcome,
            curve=tuple((hours * (at + 0.5) / count, at + 1) for at in range(count)),
        )
        for number, (name, count, hours, outcome) in enumerate(parts)
    )


TRIALS = group(
    ("as found", 12, 2.0, TrialOutcome.FIRST),
    ("added 220 nF", 9, 1.5, TrialOutcome.NO_CHANGE),
    ("tightened it", 0, 0.5, TrialOutcome.TOO_EARLY),
)


@pytest.mark.parametrize("size", SIZES)
async def test_trials_are_a_table_and_a_staircase(size: tuple[int, int]) -> None:
    source = FakeSource()
    source.change(trials=TRIALS)
    app = OhmvigilApp(source)
    async with app.run_test(size=size) as pilot:
        await pilot.press("6")
        await pilot.pause()
        shown = text(app)
    assert "nozzle contact-break" in shown
    assert "hours moving" in shown
    assert "12 in 2.0 h 120 m" in shown
    assert "no change seen" in shown
    if size != (60, 16):
        assert "too early: 30 min more without a fault" in shown
        assert "faults (contact-break) over 4.00 hours moving" in shown
        assert shown.count("2 tightened it") == 2


async def test_without_faults_the_trials_view_says_what_it_is_for(screen: Screen) -> None:
    app, pilot, _ = screen
    await pilot.press("6")
    assert "T starts a trial" in text(app)


def test_the_staircase_rises_once_for_each_fault() -> None:
    """From none to 21 over four hours, level in the last half hour."""
    drawn = staircase(TRIALS, 80)
    assert drawn.low[0] == 0.0
    assert drawn.high[-1] == 21.0
    assert (drawn.low[1:] == drawn.high[:-1]).all()
    assert (drawn.low[70:] == 21.0).all()


def test_in_ascii_checks_and_trials_are_ascii() -> None:
    source = FakeSource()
    guide = open_guide(source, source.now, "nozzle")
    guide.begin(source.now)
    board = Board(80, 22, True)
    state = ScreenState(view=ViewName.CHECK, guide=guide)
    paint_check(
        board, Rect(0, 0, 80, 22), ScreenFrame(source.now, state, source.history, glyphs_for(True))
    )
    assert "".join(board.lines()).isascii()


def test_a_cause_of_all_channels_opens_its_own_check() -> None:
    """A supply that dips is no fault of the channel in focus; the answer is for all of them."""
    source = FakeSource()
    cause = diagnose([event(Kind.JOINT_JUMP, channel="*", count=9, channels=4.0)], {})
    source.change(causes=cause)
    guide = open_guide(source, source.now, "nozzle")
    assert guide.item.form is CATALOGUE["loads-off-on"]
    assert "all, seen on nozzle: loads off on" in lines_of(guide)
    guide.begin(source.now)
    guide.answer(0, source.now)
    assert [answer.channel for answer in guide.answered] == ["*"]
