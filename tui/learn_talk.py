"""What `ohmvigil learn` says of its draft, and the few questions that it asks."""

from collections.abc import Iterator

from client.learn import Answers, Draft, answers_in
from client.learn.answers import LEAVE_OUT, MAX_NAME
from client.learn.found import Mapped
from client.learn.series import Series
from client.learn.text import MAX_WHY, read, shown
from client.learn.tree import path_of
from client.units import DIMENSION_OF
from client.values import word_of
from shared.errors import BadInput
from shared.text import clean, printable
from tui.output import say

_STATES = ("up", "starting", "halted", "gone")
_SIGNS = {"temperature": "°C", "resistance": "Ω", "length": "mm", "speed": "mm/s", "time": "s"}
"""Our units; shares are parts of one."""


def found_lines(draft: Draft) -> Iterator[str]:
    """The candidates with live values and why."""
    yield f"{draft.messages} messages from {len(draft.sources)} kinds of message"
    for channel in draft.channels:
        why = f"  ({clean(channel.why)})" if channel.why else ""
        yield f"{channel.name}{why}"
        for quantity, found in channel.parts.items():
            sent, ours = _proof(found)
            why = clean(f"{path_of(found.series.stands_at)}: {found.reasons}", MAX_WHY)
            yield f"  {quantity:<15} {sent:>18}  {ours:<13} {why}"
    for clock in list(draft.clocks.values())[:1]:
        yield f"clock in {clock.unit}: {clean(clock.why)}"
    if not draft.clocks:
        yield "no host clock found: arrival times will be used, which are coarser"
    places = [
        path_of(c.parts["state"].series.stands_at) for c in draft.channels if "state" in c.parts
    ]
    yield from (f"the host's state stands at {clean(place)}" for place in places)
    for word, means in draft.words.items():
        yield f"state '{word}' means {means or 'nothing known: never taken for up'}"
    for said, means in draft.patterns.items():
        yield f"a state with '{said}' in it means {means}"
    for said, means in draft.rules.items():
        yield f"a message with '{said}' in it means {means}"
    if unknown := [word for word, means in draft.words.items() if means is None]:
        yield f"  say what a word means: --word '{unknown[0]}=up', or starting, halted, gone"
    if not draft.rules and not any("state" in channel.parts for channel in draft.channels):
        yield "no word for the host's state found: only silence will tell that it is down"
        yield "  if one of those below is it, say so by a word of it: --word 'fit=up'"
    if draft.heard:
        yield "messages of other kinds were not heard: if one comes, it is told as unreadable"
    else:
        yield "messages of other kinds will not be told: write [[messages]] for those of a stop"
    if draft.unknown:
        yield "taken for nothing; say what one is by its path: --call 'PATH=nozzle.power'"
        yield from (f"  {_seen(one)}" for one in draft.unknown)
    if draft.unmet:
        yield f"nothing to leave out is called {clean(', '.join(draft.unmet))}"
    if draft.unproven:
        names = ", ".join(map(clean, draft.unproven))
        yield f"left out, since a profile would read no value there: {names}"
    if draft.ended:
        yield f"the link did not last: {clean(draft.ended)}"


def _proof(found: Mapped) -> tuple[str, str]:
    """A value as it was sent, and as it is read where that differs."""
    one = found.series
    unit = f" {found.unit}" if found.unit and found.unit != "celsius" and not one.suffix else ""
    sent = shown(one.last) + unit
    if not one.is_number or found.quantity in ("state", "flags", "message"):
        return sent, ""
    ours = read(found)
    if ours is None:
        return sent, "refused"
    measured = DIMENSION_OF.get(found.quantity, "")
    text = f"{ours:.5g} {_SIGNS.get(measured, '')}".strip()
    return sent, "" if ours == one.last else f"= {text}"


def number_seen(one: Series) -> str:
    """A number's path and the range in which it was."""
    last = "" if one.low == one.high else f" to {one.high:.6g}"
    return f"{clean(path_of(one.stands_at), 60)} ({one.low:.6g}{last})"


def _seen(one: Series) -> str:
    """Where it stands and what it said: a text may be the state."""
    if one.is_number:
        return number_seen(one)
    return f"{clean(path_of(one.stands_at), 60)} '{clean(word_of(one.last), 30)}'"


def ask_paths(draft: Draft) -> Answers | None:
    """What stands at a path, if the user says one; None where nothing is to be said."""
    question = "say what one is, as PATH=nozzle.power, or PATH=- for nothing (Enter: go on): "
    while answer := _answer(question):
        try:
            return answers_in([answer], [])
        except BadInput as bad:
            say(str(bad))
    return None


def ask(draft: Draft) -> None:
    """The few questions: what channels are called, and what state words mean."""
    say("Enter takes what stands in brackets; '-' leaves a channel out.")
    kept = []
    for channel in draft.channels:
        if "temperature_c" in channel.parts:
            answer = _answer(f"name of this channel [{channel.name}]: ")
            if answer == LEAVE_OUT:
                continue
            taken = {other.name for other in draft.channels if other is not channel}
            if answer and clean(answer, MAX_NAME) not in taken:
                channel.name = clean(answer, MAX_NAME) or channel.name
        kept.append(channel)
    draft.channels = kept
    _ask_state(draft)
    asked = {word: ours for word, ours in draft.words.items() if word not in draft.told}
    for word, ours in asked.items():
        question = f"state '{word}' means {', '.join(_STATES)} [{ours or 'not known'}]: "
        while (answer := _answer(question)) and answer not in _STATES:
            say(f"'{clean(answer, MAX_NAME)}' is none of them; Enter leaves it as it is")
        draft.words[word] = answer or ours


def _ask_state(draft: Draft) -> None:
    """Which of several texts is the host's state, where no name says so."""
    if not draft.states or any(why.startswith("named") for why in draft.states[0].why):
        return
    chosen = next((c.parts["state"] for c in draft.channels if "state" in c.parts), None)
    if chosen is not None and draft.told.keys() & set(map(word_of, chosen.series.values)):
        return
    for n, found in enumerate(draft.states, start=1):
        said = ", ".join(dict.fromkeys(f"'{clean(word_of(v), 30)}'" for v in found.series.values))
        say(f"  {n}  {path_of(found.series.stands_at)} {said}")
    usual = LEAVE_OUT if chosen is None else "1"
    answer = _answer(f"which of these is the host's state ('-': none) [{usual}]: ")
    if answer == LEAVE_OUT:
        draft.take_state(None)
    elif answer.isdecimal() and 1 <= int(answer) <= len(draft.states):
        draft.take_state(draft.states[int(answer) - 1])


def _answer(question: str) -> str:
    try:
        return input(printable(question)).strip()
    except EOFError:
        return ""
