"""Every key with its id, what it does, and where help and the last line mention it."""

from dataclasses import dataclass, replace

from tui.state import ViewName

EVERYWHERE = tuple(ViewName)
_BUT_CHECK = tuple(view for view in ViewName if view is not ViewName.CHECK)


@dataclass(frozen=True, slots=True)
class Key:
    """One binding. `keys` as the terminal library names them; `shown` as a person reads them.

    An empty `shown` is shown together with the key before it.
    """

    id: str
    keys: str
    shown: str
    action: str
    text: str
    views: tuple[ViewName, ...] = EVERYWHERE
    replay: bool | None = None
    """True: only in a replay; False: only on a live host."""
    brief: str = ""
    """Words for the last line; empty keeps the key out of it."""
    priority: bool = False

    @property
    def hint(self) -> str:
        """Key and word for the last line."""
        return f"{self.shown.split()[0]} {self.brief}"


_CHART = (ViewName.OVERVIEW,)
_LIST = (ViewName.EVENTS,)
_CHAIN = (ViewName.CHAIN,)
_TEXT = (ViewName.DIAGNOSIS, ViewName.NOTES, ViewName.TRIALS, *_CHAIN)

_CHECK = (ViewName.CHECK,)


def _view_key(digit: str, view: ViewName, text: str, brief: str) -> Key:
    return Key(f"view.{view}", digit, digit, f"show('{view}')", text, _BUT_CHECK, brief=brief)


def _mark_keys() -> tuple[Key, ...]:
    """Digits mark, capitals answer; help names the first of each for all."""
    marks = [
        Key(f"check.mark.{n}", str(n), "" if n else "0...6", f"mark({n})", "mark section, state")
        for n in range(7)
    ]
    outcomes = [
        Key(f"check.by-hand.{n}", key, "" if n else "A...D", f"answer({n})", "answer by hand")
        for n, key in enumerate("ABCD")
    ]
    return tuple(replace(key, views=_CHECK) for key in (*marks, *outcomes))


KEYS = (
    *_mark_keys(),
    Key(
        "check.go",
        "enter",
        "enter",
        "accept",
        "begin the check; record what it found",
        _CHECK,
        brief="begin, record",
    ),
    Key("check.value", "v", "v", "value", "type the number asked for", _CHECK, brief="number"),
    _view_key("1", ViewName.OVERVIEW, "chart and health", "chart"),
    _view_key("2", ViewName.EVENTS, "all events", "events"),
    _view_key("3", ViewName.DIAGNOSIS, "causes and checks", "causes"),
    _view_key("4", ViewName.CHAIN, "sensor chain and budget", "chain"),
    _view_key("5", ViewName.NOTES, "notes, link, recording", "notes"),
    _view_key("6", ViewName.TRIALS, "trials: did it help?", "trials"),
    Key("view.next", "tab", "tab", "next_view(1)", "next view", priority=True),
    Key("view.back", "escape", "esc", "close", "close; clear filter; chart"),
    Key(
        "time.pause",
        "space",
        "space",
        "pause",
        "pause the chart, or go on",
        replay=False,
        brief="pause",
    ),
    Key("time.play", "space", "space", "pause", "play or pause", replay=True, brief="play"),
    Key("time.slower", "less_than_sign", "<", "speed(0.5)", "half the speed", replay=True),
    Key("time.faster", "greater_than_sign", ">", "speed(2.0)", "twice the speed", replay=True),
    Key("move.left", "left,h", "← h", "move(-1)", "earlier", _CHART),
    Key("move.right", "right,l", "→ l", "move(1)", "later", _CHART),
    Key("cursor.back", "comma", ", .", "step(-1)", "cursor by one column", _CHART, replay=False),
    Key("cursor.on", "full_stop", "", "step(1)", "cursor one column on", _CHART, replay=False),
    Key("update.back", "comma", ", .", "step(-1)", "cursor by one update", _CHART, replay=True),
    Key("update.on", "full_stop", "", "step(1)", "cursor one update on", _CHART, replay=True),
    Key(
        "minute.back",
        "left_square_bracket",
        "[ ] { }",
        "jump_by(-60.0)",
        "by a minute, an hour",
        _CHART,
    ),
    Key("minute.on", "right_square_bracket", "", "jump_by(60.0)", "a minute on", _CHART),
    Key("hour.back", "left_curly_bracket", "", "jump_by(-3600.0)", "an hour back", _CHART),
    Key("hour.on", "right_curly_bracket", "", "jump_by(3600.0)", "an hour on", _CHART),
    Key("zoom.in", "plus,equals_sign", "+ -", "zoom(-1)", "less time, more time", _CHART),
    Key("zoom.out", "minus", "", "zoom(1)", "more time", _CHART),
    Key("zoom.reset", "0", "0", "reset", "usual zoom", _CHART),
    Key("go.start", "g,home", "g", "start", "start"),
    Key("go.live", "G,end", "G", "live", "newest data"),
    Key("event.next", "n", "n N", "event(1)", "next event, event before", brief="event"),
    Key("event.previous", "N", "", "event(-1)", "event before"),
    Key("channel.up", "up,k", "↑ k", "line(-1)", "sensor above, line up"),
    Key("channel.down", "down,j", "↓ j", "line(1)", "sensor below, line down"),
    Key("channel.next", "c", "c", "channel", "next sensor", _CHART + _CHAIN),
    Key("page.up", "pageup", "PgUp", "line(-10)", "ten lines up", _LIST + _TEXT),
    Key("page.down", "pagedown", "PgDn", "line(10)", "ten lines down", _LIST + _TEXT),
    Key(
        "event.acknowledge",
        "a",
        "a",
        "acknowledge",
        "acknowledge the event",
        _CHART + _LIST,
        brief="ack",
    ),
    Key(
        "event.shelve",
        "s",
        "s S u U",
        "shelve",
        "shelve it, sensor; take back",
        _CHART + _LIST,
        brief="shelf",
    ),
    Key(
        "event.show",
        "enter",
        "enter",
        "jump",
        "show the event in the chart",
        _LIST,
        brief="chart",
    ),
    Key("sensor.shelve", "S", "", "shelve_all", "shelve all of its sensor", _CHART + _LIST),
    Key("event.unshelve", "u", "", "unshelve", "take off the shelf", _CHART + _LIST),
    Key("sensor.unshelve", "U", "", "unshelve_all", "take all of its sensor back", _CHART + _LIST),
    Key("event.filter", "slash", "/", "filter", "filter events by words", brief="filter"),
    Key(
        "check.open",
        "e",
        "e",
        "check",
        "examine: the next check, guided",
        _BUT_CHECK,
        brief="examine",
    ),
    Key("trial.start", "T", "T", "trial", "start a trial: what was changed", brief=""),
    Key("note.add", "m", "m", "note", "note at cursor, or now", brief="note"),
    Key("copy", "y", "y", "copy", "copy event or diagnosis"),
    Key("help", "question_mark,f1", "? F1", "help", "this help", brief="help"),
    Key("palette", "ctrl+p", "ctrl+p", "command_palette", "find a command by name"),
    Key("quit", "q,ctrl+q,ctrl+c", "q", "quit", "quit", brief="quit"),
)


BACK = Key("hosts", "backspace", "bksp", "hosts", "all hosts; esc in the chart, too", brief="hosts")
"""Leads from one host's screen to all, where there are several."""
SEVERAL_KEYS = (
    Key("host.up", "up,k", "↑ k", "line(-1)", "host above", brief="host"),
    Key("host.down", "down,j", "↓ j", "line(1)", "host below"),
    Key("host.first", "g,home", "g", "start", "worst host"),
    Key("host.last", "G,end", "G", "live", "last host"),
    Key("host.acknowledge", "a", "a", "acknowledge", "acknowledge its worst event", brief="ack"),
    Key("host.shelve", "s", "s S", "shelve", "shelve it, all of its sensor", brief="shelf"),
    Key("host.shelve-all", "S", "", "shelve_all", "shelve all of that sensor"),
    Key("host.unshelve", "u", "u U", "unshelve", "take all of the host back"),
    Key("host.unshelve-all", "U", "", "unshelve_all", "take all of the host back"),
    Key("host.open", "enter", "enter", "open_host", "this host's own screen", brief="open"),
    Key("help", "question_mark,f1", "? F1", "help", "this help", brief="help"),
    Key("quit", "q,ctrl+q,ctrl+c", "q", "quit", "quit; recordings are complete", brief="quit"),
)
"""Keys of the list of hosts."""


CHECK_ACTIONS = frozenset(key.action.partition("(")[0] for key in KEYS if key.views == _CHECK)
"""Actions that mean something only while a check is shown."""


OF_AN_EVENT = frozenset({"acknowledge", "shelve", "shelve_all", "unshelve", "unshelve_all"})
"""Actions on one event: they come last in the chart's last line, first in the list's."""


def keys_of(view: ViewName, replaying: bool) -> list[Key]:
    """Keys that mean something in a view."""
    return [
        key for key in KEYS if view in key.views and (key.replay is None or key.replay is replaying)
    ]


def brief_keys(view: ViewName, replaying: bool) -> list[Key]:
    """Keys of the last line: the views, then what belongs to this one, then the rest."""
    keys = [key for key in keys_of(view, replaying) if key.brief]
    if view not in (ViewName.DIAGNOSIS, ViewName.TRIALS):
        keys = [key for key in keys if key.id != "check.open"]
    if view is not ViewName.EVENTS:
        keys = [key for key in keys if key.id != "event.filter"]
    else:
        keys = [key for key in keys if not key.id.startswith(("time.", "event.next"))]

    def place(key: Key) -> int:
        if view is ViewName.OVERVIEW and key.action in OF_AN_EVENT:
            return 3
        return 0 if key.id.startswith("view.") else 2 if key.views == EVERYWHERE else 1

    return sorted(keys, key=place)
