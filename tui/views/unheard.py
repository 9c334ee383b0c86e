"""A host that has not said anything yet: why, since when, and what becomes of it."""

from shared.when import short, spelt
from tui.board import Board, Ink, Rect
from tui.snapshot import LinkState, LinkView, Snapshot

GIVEN_UP = (
    "It is not tried again, and the others go on. Leave, and start anew once it can be reached; "
    "with --wait such a host is tried until it can."
)


NO_FIT = (
    "If it stays so they do not fit this profile: leave, and `ohmvigil watch HOST --check` says "
    "which names gave values, `ohmvigil learn ADDRESS` drafts a profile anew."
)


def link_words(link: LinkView) -> str:
    """The link to a host that was never heard, in few words."""
    if link.state is LinkState.ENDED:
        return "never connected, given up"
    if link.state is LinkState.OPEN:
        return f"link open {short(link.lasted_s)}, nothing heard"
    if link.next_try_s is not None:
        return f"never connected, next try in {short(link.next_try_s)}"
    tries = f", try {link.attempts}" if link.attempts > 1 else ""
    return f"connecting {short(link.lasted_s)}{tries}"


def paint_unheard(board: Board, area: Rect, now: Snapshot) -> None:
    """In place of a chart that has nothing to show yet."""
    board.text(area.x, area.y, now.title, Ink.STRONG, area.width)
    y = area.y + 2
    for line, ink in _lines(now.link):
        room = area.y + area.height - y
        if room > 0:
            y += board.wrapped(Rect(area.x, y, area.width, room), line, ink)


def _lines(link: LinkView) -> list[tuple[str, int]]:
    why = [(f"Why: {link.why}.", int(Ink.STRONG))] if link.why else []
    if link.state is LinkState.OPEN:
        open_for = f"The link has been open for {_whole(link.lasted_s)};"
        if link.is_heard:
            told = f"{open_for} messages come, and none gave a reading yet."
            return [(told, int(Ink.PLAIN)), (NO_FIT, int(Ink.PLAIN))]
        return [(f"{open_for} no reading has come yet.", int(Ink.PLAIN))]
    if link.state is LinkState.ENDED:
        return [("It was never connected.", int(Ink.PLAIN)), *why, (GIVEN_UP, int(Ink.PLAIN))]
    lines = [(f"Not connected yet, for {_whole(link.lasted_s)}.", int(Ink.PLAIN)), *why]
    if link.next_try_s is not None:
        lines.append(
            (f"Try {link.attempts + 1} in {_whole(link.next_try_s)}, and so on.", int(Ink.PLAIN))
        )
    else:
        lines.append((f"Try {max(link.attempts, 1)} is under way.", int(Ink.PLAIN)))
    return lines


def _whole(seconds: float) -> str:
    """Without tenths: it is told anew each moment."""
    return f"{seconds:.0f} s" if seconds < 100.0 else spelt(seconds)
