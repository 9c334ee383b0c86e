"""What `ohmvigil learn` says of its draft, and the few questions that it asks."""

from collections.abc import Iterator

from client.learn import Draft
from client.learn.draft import MAX_NAME
from client.learn.text import shown
from shared.text import clean, printable
from tui.output import say

_STATES = ("up", "starting", "halted", "gone")


def found_lines(draft: Draft) -> Iterator[str]:
    """The candidates with live values and why."""
    yield f"{draft.messages} messages from {len(draft.sources)} kinds of message"
    for channel in draft.channels:
        why = f"  ({clean(channel.why)})" if channel.why else ""
        yield f"{channel.name}{why}"
        for quantity, found in channel.parts.items():
            unit = f" {found.unit}" if found.unit and found.unit != "celsius" else ""
            reasons = "; ".join(dict.fromkeys(each for each in found.why if each))
            value = shown(found.series.last) + unit
            yield f"  {quantity:<15} {value:>16}   {clean(reasons, 120)}"
    for clock in list(draft.clocks.values())[:1]:
        yield f"clock in {clock.unit}: {clean(clock.why)}"
    if not draft.clocks:
        yield "no host clock found: arrival times will be used, which are coarser"
    for word, ours in draft.words.items():
        yield f"state '{word}' means {ours or '?'}"
    if draft.unknown:
        names = ["/".join(str(getattr(t, "value", t)) for t in one.place) for one in draft.unknown]
        yield "taken for nothing: " + clean(", ".join(names), 200)


def ask(draft: Draft) -> None:
    """The few questions: what channels are called, and what state words mean."""
    say("Enter takes what stands in brackets; '-' leaves a channel out.")
    kept = []
    for channel in draft.channels:
        if "temperature_c" in channel.parts:
            answer = _answer(f"name of this channel [{channel.name}]: ")
            if answer == "-":
                continue
            taken = {other.name for other in draft.channels if other is not channel}
            if answer and clean(answer, MAX_NAME) not in taken:
                channel.name = clean(answer, MAX_NAME) or channel.name
        kept.append(channel)
    draft.channels = kept
    for word, ours in draft.words.items():
        answer = _answer(f"state '{word}' means {', '.join(_STATES)} [{ours or 'not known'}]: ")
        if answer in _STATES:
            draft.words[word] = answer


def _answer(question: str) -> str:
    try:
        return input(printable(question)).strip()
    except EOFError:
        return ""
