"""The board: text stays text, only changes are sent."""

from hypothesis import given
from hypothesis import strategies as st

from tui.board import Board, Ink, Rect, fitted, shown_width, wrap
from tui.output import ascii_of


def test_markup_is_shown_letter_by_letter_and_escapes_are_not_shown() -> None:
    board = Board(60, 1)
    board.text(0, 0, "[red]x[/red]\x1b]52;c;eA==\x07\u202e end")
    assert board.lines()[0].rstrip() == "[red]x[/red]]52;c;eA== end"


@given(st.text(max_size=80), st.integers(0, 40))
def test_any_text_fits_and_leaves_no_control_character(text: str, x: int) -> None:
    board = Board(40, 2)
    board.text(x, 0, text)
    for line in board.lines():
        assert shown_width(line) == 40 or "\ufffd" in line
        assert line.isprintable()


@given(
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=200), st.integers(5, 60)
)
def test_wrapped_lines_fit_and_keep_every_word(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_text_that_does_not_fit_ends_at_a_word() -> None:
    assert fitted("code at its upper limit", 15) == "code at its…"
    assert fitted("code at its upper limit", 11 + 1) == "code at its…"
    assert fitted("short", 5) == "short"


def test_ascii_spells_out_what_we_use() -> None:
    assert ascii_of("31.5 Ω ±2 °C → ×3…") == "31.5 ohm +/-2 deg C -> x3..."
    assert ascii_of("日本") == "??"


def test_equal_boards_have_no_changes() -> None:
    one, two = Board(40, 5), Board(40, 5)
    one.text(3, 2, "same")
    two.text(3, 2, "same")
    assert two.changes(one) == []


def test_a_changed_word_is_one_run() -> None:
    one, two = Board(40, 5), Board(40, 5)
    one.text(3, 2, "data 1s old")
    two.text(3, 2, "data 2s old")
    changes = two.changes(one)
    assert changes is not None
    assert [(run.x, run.y, run.width) for run in changes] == [(8, 2, 1)]


def test_another_ink_is_a_change_too() -> None:
    one, two = Board(40, 5), Board(40, 5)
    one.text(0, 0, "word")
    two.text(0, 0, "word", Ink.ALARM)
    assert two.changes(one)


def test_another_size_changes_everything() -> None:
    assert Board(40, 5).changes(Board(41, 5)) is None


@given(st.lists(st.text("ab 日本Ω", min_size=1, max_size=12), min_size=2, max_size=2))
def test_sending_only_the_changes_gives_the_new_board(texts: list[str]) -> None:
    """Patching the old rows with the changed runs yields the new rows."""
    one, two = Board(30, 1), Board(30, 1)
    one.text(2, 0, texts[0])
    two.text(2, 0, texts[1])
    codes = one.codes.copy()
    for run in two.changes(one) or []:
        codes[run.y, run.x : run.x + run.width] = two.codes[run.y, run.x : run.x + run.width]
    assert (codes == two.codes).all()


def test_long_text_in_an_area_ends_with_an_ellipsis() -> None:
    board = Board(20, 4)
    used = board.wrapped(Rect(0, 0, 20, 2), "one two three four five six seven eight nine ten")
    assert used == 2
    assert board.lines()[1].rstrip().endswith("…")
