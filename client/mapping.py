"""From entries to updates: JSON, pointers, cleaned values, straightened time. No I/O.

A key is in an update if and only if the host sent it in that message, whether or not its
value changed; what to make of repeats is the detectors' business. Where a host says null,
or another thing that is no number, in a number's place, there is none from then on
(`shared.absent`), unless the profile says what it stands for. Of a text null says nothing, nor
does it of what never was a number; but a sensor's own reading is missed from the first.
Besides, `host.state` is "gone" when the link is lost, and comes again with the first
readings after it, as the host says or else as it was last known ("up" if never); and
`host.link` tells what happened to the link (`shared.link`).

The same entries give the same updates, so a recording replays to the same events.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

import msgspec

from client import jsonrpc, pairs, unheard
from client.clock import LogTime
from client.form import Profile
from client.plan import NULL, Leaf, Listed, Origin, Plan, plan_of
from client.pointer import MISSING, Steps, above, walk
from client.refusals import Refusals
from client.saying import MESSAGE_KEY, SAID_KEY, STATE_KEY, RunsAgain, Words, tells_a_state
from client.values import UNSENT, number_in
from client.values import clock as clock_in
from shared.absent import UNREAD, absent_key
from shared.hostclock import TIMEKEEPING
from shared.link import LINK, What, link_said
from shared.text import clean
from shared.unreadable import UNREADABLE
from shared.updates import Entry, EntryKind, LinkNews, Update, Value
from shared.words import HostState

REPORTED = "reported"
"""Quantity under which an event kind that a message rule gives is passed on, as text."""
MAX_LISTED = 1000
"""Items of an array among which a channel is looked for."""
NO_PAIR = "no pair"
"""Word by which rows are counted that `pairs` cannot read."""
TOO_LARGE = "larger than is read"
UNHEARD = "a name that is not among those heard"
REFUSED = "the host answers with an error"
MAX_WORD = 60
"""Letters of what a host says in place of a number."""
MAX_BATCH = 1000
"""Messages of one batch that are read."""

_GONE = str(HostState.GONE)
_UP = str(HostState.UP)


class Mapper:
    """Turns one host's entries into updates. `plan_of` has checked the profile on load."""

    def __init__(self, profile: Profile) -> None:
        self._plan: Plan = plan_of(profile)
        self._clock_of = clock_in(profile.clock_unit)
        self._time = LogTime(self._plan.has_clock)
        self._early: dict[str, Value] = {}
        self._is_gone = False
        self._state = ""
        self._words = Words(self._plan)
        self._restarts = RunsAgain()
        self._refusals = Refusals()
        self._given: set[str] = set()
        """Keys that ever had a number."""

    @property
    def refused(self) -> Counter[str]:
        """What was not taken: by key for values, by a word for frames."""
        return self._refusals.counts

    def first_refused(self, key: str) -> str:
        """The beginning of what was refused first of a key; empty where nothing was."""
        return self._refusals.first.get(key, "")

    @property
    def has_host_time(self) -> bool:
        """Whether the host's clock ever said a time."""
        return self._time.has_host_time

    @property
    def clock_jumps(self) -> int:
        """How often host time was moved: jumps of its clock and restarts."""
        return self._time.jumps

    def feed(self, entry: Entry) -> list[Update]:
        """Updates that one entry amounts to, mostly one; none before the log has a time."""
        updates = self._feed(entry)
        if self._time.is_known and (told := self._refusals.take(entry.own_s)):
            last = updates.pop() if updates else Update(self._time.time_at(entry.own_s), {})
            updates.append(Update(last.time_s, {**last.values, UNREADABLE: told}))
        return updates

    def _feed(self, entry: Entry) -> list[Update]:
        if entry.kind in (EntryKind.MESSAGE, EntryKind.CUT_SHORT):
            self._refusals.heard(entry.own_s)
            return self._message(entry)
        self._time.see(entry.own_s)
        if not self._time.is_known:
            return []
        if entry.kind is EntryKind.TICK:
            return [self._timed(self._time.tick(entry.own_s), {})]
        return self._link(entry)

    def time_at(self, own_s: float) -> float | None:
        """Log time that belongs to an own time; None before the log has a time."""
        return self._time.reckon(own_s) if self._time.is_known else None

    def _message(self, entry: Entry) -> list[Update]:
        try:
            if entry.kind is EntryKind.CUT_SHORT:
                raise jsonrpc.Refused(TOO_LARGE)
            message = jsonrpc.decode(entry.payload)
        except jsonrpc.Refused as why:
            self._refusals.refuse(str(why), entry.payload)
            self._time.see(entry.own_s)
            return []
        updates: list[Update] = []
        parts = message[:MAX_BATCH] if jsonrpc.is_batch(message) else (message,)
        fits = is_refusal = False
        for part in parts:
            origin, before = self._origin(part), len(updates)
            if self._plan.heard:
                self._tell_unheard(part, origin)
            self._words.taken.clear()
            if origin is not None:
                self._read(part, origin, entry.own_s, updates)
                fits = fits or any(update.values for update in updates[before:])
            elif words := jsonrpc.refusal_in(part):
                is_refusal = True
                self._refused(words, entry.own_s, updates)
            else:
                self._listen(part, entry.own_s, updates)
                fits = fits or len(updates) > before
        if fits or self._early:
            self._refusals.fit()
        elif not is_refusal:
            self._refusals.no_fit(entry.payload)
            self._time.see(entry.own_s)
        return updates or self._passed(entry.own_s)

    def _passed(self, own_s: float) -> list[Update]:
        """That time went by, though nothing was read: a host may talk on and tell no readings."""
        time_s = self._time.passed(own_s)
        return [] if time_s is None else [self._timed(time_s, {})]

    def _refused(self, words: str, own_s: float, updates: list[Update]) -> None:
        """The host answers with an error: its words are a message like any other."""
        values: dict[str, Value] = {MESSAGE_KEY: words}
        self._words.hear({}, values)
        if not tells_a_state(self._plan.rules, words):
            self._refusals.refuse(REFUSED, words)
        self._say(values, own_s, updates)

    def _tell_unheard(self, message: Any, origin: Origin | None) -> None:
        """Tell of names that the profile says nothing of: they may be how the host tells a stop."""
        for name, value in self._names_in(message, origin):
            if name not in self._plan.heard:
                self._refusals.refuse(UNHEARD, unheard.told(name, value))

    def names_in(self, message: Any) -> set[str]:
        """Names that a decoded message bears, as `heard` has them."""
        return {name for name, _ in self._names_in(message, self._origin(message))}

    def _names_in(self, message: Any, origin: Origin | None) -> Iterator[tuple[str, Any]]:
        at = () if origin is None else (origin.status, origin.pairs, origin.under)
        return unheard.names_in(message, *at)

    def _listen(self, message: Any, own_s: float, updates: list[Update]) -> None:
        """A message without readings: a rule may know its words."""
        values: dict[str, Value] = {}
        self._words.hear(message, values)
        if values:
            self._say(values, own_s, updates)
        else:
            self._time.see(own_s)

    def _say(self, values: dict[str, Value], own_s: float, updates: list[Update]) -> None:
        """What was said without readings; a state begins the log, for nothing else may follow."""
        if STATE_KEY in values:
            self._time.begin(own_s)
            self._finish(values)
        else:
            self._time.see(own_s)
        if self._time.is_known:
            updates.append(self._timed(self._time.time_at(own_s), values))
        else:
            self._early |= values

    def _origin(self, message: Any) -> Origin | None:
        if type(message) is dict:
            method = message.get("method")
            if type(method) is str:
                origin = self._plan.methods.get(method)
                if origin is not None:
                    return origin
            number = message.get("id")
            if type(number) is int and "result" in message:
                origin = self._plan.answers.get(number)
                if origin is not None:
                    return origin
        for origin in self._plan.others:
            if origin.has is None:
                return origin
            found = walk(message, origin.has)
            if found is not MISSING and (origin.equals is None or found == origin.equals):
                return origin
        return None

    def _read(self, message: Any, origin: Origin, own_s: float, updates: list[Update]) -> None:
        if origin.pace is not None:
            pace = walk(message, origin.pace)
            if type(pace) in (int, float):
                self._time.set_pace(float(pace))
        host_s = None
        inner = self._inner(message, origin)
        if origin.clock is not None:
            said = _clock_said(message, origin, origin.clock, inner)
            if said is not MISSING and said is not None:
                host_s = self._clock_of(said)
                if host_s is None:
                    self._refusals.refuse("clock", str(said))
        status = inner if inner is MISSING else _under(message, origin, inner)
        if status is MISSING and origin.clock is None:
            # It may have said its pace; it carries no readings.
            self._listen(message, own_s, updates)
            return
        values = self._values(status)
        self._words.hear(message, values)
        if host_s is not None:
            time_s = self._time.at(own_s, host_s)
        else:
            self._time.see(own_s)
            if not self._time.is_known:
                self._early |= values
                return
            time_s = self._time.time_at(own_s)
        self._finish(values)
        news = self._time.take_news()
        if news:
            values[TIMEKEEPING] = news
        updates.append(self._timed(time_s, values))

    def _inner(self, message: Any, origin: Origin) -> Any:
        """What stands at the status, read if it is a text that holds JSON, or rows."""
        status = walk(message, origin.status)
        if type(status) is str:
            status = _within(status)
        if origin.pairs and status is not MISSING and status is not None:
            status, refused = pairs.object_of(status)
            if refused:
                self._refusals.refuse(NO_PAIR, "", refused)
        return status

    def _values(self, status: Any) -> dict[str, Value]:
        values: dict[str, Value] = {}
        for leaf in self._plan.leaves:
            self._convert(leaf, _said_of(status, leaf), values)
        for listed in self._plan.lists:
            item = _listed(status, listed)
            for leaf in listed.leaves if item is not MISSING else ():
                self._convert(leaf, _said_of(item, leaf), values)
        return values

    def _convert(self, leaf: Leaf, found: Any, values: dict[str, Value]) -> None:
        if found is MISSING or (found is None and not leaf.is_number):
            return
        if type(found) is str:
            self._words.taken.add(found)
        value = leaf.null if found is None else leaf.convert(found)
        if value is None:
            self._refusals.refuse(leaf.key, _shown(found))
        if leaf.is_number and type(value) is not float:
            if value != UNSENT and ((leaf.is_missed and value) or leaf.key in self._given):
                word = NULL if found is None else clean(_shown(found), MAX_WORD)
                values[absent_key(leaf.key)] = word if value else UNREAD + word
        elif value is not None:
            values[leaf.key] = value
            if leaf.key == STATE_KEY and value == HostState.HALTED and type(found) is str:
                values |= {SAID_KEY: clean(found)} if found != value else {}
            if leaf.is_number:
                self._given.add(leaf.key)

    def _finish(self, values: dict[str, Value]) -> None:
        if MESSAGE_KEY in values:
            values.pop(SAID_KEY, None)
        if self._restarts.seen(values, by_words=self._words.state):
            values[STATE_KEY] = _UP
        if STATE_KEY in values:
            self._state = str(values[STATE_KEY])
        elif self._is_gone:
            values[STATE_KEY] = self._state or _UP
        self._is_gone = False

    def _link(self, entry: Entry) -> list[Update]:
        try:
            news = msgspec.json.decode(entry.payload, type=LinkNews)
        except ValueError:
            self._refusals.refuse("link", "")
            return []
        said = link_said(news.told)
        told: dict[str, Value] = {} if said is None else {LINK: clean(news.told)}
        if said is None or said.what in (What.OPEN, What.LOST):
            if news.up:
                self._time.reopen()
            else:
                self._is_gone = True
                time_s = self._time.time_at(entry.own_s)
                return [self._timed(time_s, {**told, STATE_KEY: _GONE})]
        if said is None:
            return []
        if said.what in (What.OPEN, What.TRIED):
            return [self._timed(self._time.tick(entry.own_s), told)]
        # Host times may still come that lie before now, so the log's time stays where it is.
        return [self._timed(self._time.newest_s, told)]

    def _timed(self, time_s: float, values: dict[str, Value]) -> Update:
        if self._early:
            values = self._early | values
            self._early = {}
        return Update(time_s, values)


def _shown(found: Any) -> str:
    """A value that was refused; of an object or array, only that it is one."""
    if isinstance(found, dict | list):
        return "an object" if isinstance(found, dict) else "an array"
    return str(found)


def _clock_said(message: Any, origin: Origin, clock: Steps, inner: Any) -> Any:
    """What stands at the clock; it may be within a status that is a JSON text, or rows."""
    within = len(origin.status)
    if clock[:within] == origin.status and (said := walk(inner, clock[within:])) is not MISSING:
        return said
    return walk(message, clock)


def _under(message: Any, origin: Origin, status: Any) -> Any:
    """What the channels' pointers start at; None where it cannot be read."""
    for steps in reversed(origin.under):
        name = walk(message, steps)
        if not pairs.is_name(name):
            return None
        status = {str(name): status}
    return status


def _within(text: str) -> Any:
    """The JSON that a text holds; the text itself where it holds no object and no array."""
    if text[:1] not in ("{", "["):
        return text
    try:
        return jsonrpc.decode(text.encode("utf-8", "surrogatepass"))
    except jsonrpc.Refused:
        return text


def _said_of(status: Any, leaf: Leaf) -> Any:
    """What stands where a reading does, or the null, or a word that the profile knows, in the place
    of what holds it; MISSING where nothing was said of it."""
    found = walk(status, leaf.steps)
    if found is not MISSING:
        return found
    found = above(status, leaf.steps)
    if type(found) is str and not (number_in(found) is None and type(leaf.convert(found)) is float):
        return MISSING
    return found


def _listed(status: Any, listed: Listed) -> Any:
    """The item of a list that has the name; else MISSING."""
    items = walk(status, listed.steps)
    items = items[:MAX_LISTED] if type(items) is list else []
    return next((i for i in items if walk(i, listed.name_steps) == listed.name), MISSING)
