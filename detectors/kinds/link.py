"""restart, halt, unknown-state, link-loss and stale: the host, the controller, the way to them.

Quantity: seconds. `stale` is silence although the link is up: longer than `SILENCE_S`,
than ten times the host's own mean spacing, and than twice the longest of its latest gaps
that were not silences, so that a host that speaks every five seconds, or only when
something changes, is not called silent. Nor is one whose clock was set, where uptime shows it.
`link-loss` lasts from the host's being gone to
its next word; how it went is told by the client (`linkstory`), and where uptime fell over it, by
the restart. A restart is an uptime that falls, or a host that says it is starting. A halt
is quoted with what the host newly said at that moment or up to `AFTER_S` later, first; failing
that, with what it said up to `BEFORE_S` before: older words are of something else; failing that,
with the state's own text. What is said as it ends is no part of it. A state
without a meaning is never taken for up: it is told, in the host's own word, until one comes that
has a meaning.

Blind to a restart of the controller where no uptime is reported, to silence shorter than
the limit, and to a single channel that falls silent: hosts may send only what changes, so
that is looked for as `frozen`.
"""

import math

from detectors.detector import HostDetector, Say
from detectors.kinds.cadence import Cadence
from detectors.kinds.hostclock import leap
from detectors.kinds.hoststate import SAID, host_state
from detectors.kinds.linkstory import LinkStory
from detectors.reports import Cleared, Sighting, Started, of_the_host
from detectors.table.gates import STARTING_S
from shared.events import NotEvaluated
from shared.link import LINK, LinkSaid, What, link_said
from shared.text import clean
from shared.when import spelt
from shared.words import EVERY_CHANNEL, HostState, Kind

SAME_TIME = 0.5
"""Uptime that grows by less than this part of a gap tells a clock that was set from a silence."""
ONE_RESTART_S = 10.0
"""Host and controller that start within this time of each other started together."""
ONE_LOSS_S = 60.0
"""A restart that shows within this time of the link's return is behind its loss."""
HELD_UP_S = 5.0
"""What was held up shows as such at once when it comes."""
OWN_S = 30.0
"""What happened to this machine itself so long before bears on what came."""
RAN_ON = 0.8
"""Uptime that grew by this part of a gap or more says that the host ran on."""
SHOWN = 80
"""Letters of a host's message that are shown."""
BEFORE_S, AFTER_S = 2.0, 10.0
"""How long before and after a halt its reason may be said (a choice: hosts say both at once)."""
MOST_WORDS = 32
"""Words without a meaning that are an event each; a host with more says numbers, not states."""


class LinkDetector(HostDetector):
    """Sees states, uptimes and gaps."""

    def __init__(self) -> None:
        self._state = HostState.UP
        self._is_unknown = False
        self._silent = False
        self._knows_link = False
        """Whether the log tells of the link: host states, or time that passed without data."""
        self._gone_row = -1
        self._has_uptime = False
        self._restarted_s = -math.inf
        self._words = ""
        self._words_s = -math.inf
        self._said, self._said_s = "", -math.inf
        """The state's own text for a stop, and when it came."""
        self._halt_said: Sighting | None = None
        self._unsaid: Sighting | None = None
        """The newest telling of a halt, and the one before it."""
        self._halted_s = math.nan
        """When the halt came that still waits for words of its own; else NaN."""
        self._cadence = Cadence()
        self._story = LinkStory()
        """Of the newest loss or silence."""
        self._own = LinkStory()
        self._own_s = -math.inf
        """What happened to this machine itself, and when."""
        self._known_words: set[str] = set()
        self._unknown: list[str] = []
        """Words of the event that goes on."""
        self._tells_state = False
        """Whether the host itself ever said a state; that its link went and came is ours."""
        self._lost_s = self._back_s = math.nan
        self._heard_s = self._limit_s = math.nan

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if key == SAID:
            self._said, self._said_s = text, time_s
        elif key == "host.message":
            self._words, self._words_s = text, time_s
            if self._state is HostState.HALTED and time_s - self._halted_s <= AFTER_S:
                self._unsaid = self._halt_said
                say(self._halt(row, time_s))
        said = link_said(text) if key == LINK else None
        if said is not None:
            self._told(row, time_s, said, say)
        if key != "host.state":
            return
        state, was = host_state(text), self._state
        self._knows_link = True
        is_new = state is None and self._is_new_word(text)
        if self._is_unknown and (state is not None or is_new):
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.UNKNOWN_STATE, time_s))
        self._is_unknown = state is None
        # Of the link and of silence an unknown word says as much as any other.
        self._state = HostState.UP if state is None else state
        if was is HostState.GONE:
            self._back_s = time_s
            say(self._back(row, time_s))
        if was is HostState.HALTED:
            say(self._over(row, time_s))
        self._tells_state = self._tells_state or HostState.GONE not in (state, was)
        if state is None:
            found = self._sighting(row, time_s, Kind.UNKNOWN_STATE, time_s, self._said_words())
            found.is_apart = is_new
            say(found)
        elif state is HostState.GONE:
            self._gone_row = row
            self._end_silence(row, time_s, say)
            if self._lost_s != time_s:
                self._begin_loss(row, time_s)
            say(self._loss(row, time_s))
        elif state is HostState.HALTED:
            self._halted_s, self._unsaid = time_s, None
            say(self._halt(row, time_s))
        elif state is HostState.STARTING:
            self._restart(row, time_s, "the host started again", say)
            say(Started(row, time_s, EVERY_CHANNEL, time_s))

    def uptime(self, row: int, time_s: float, uptime_s: float, say: Say) -> None:
        if self._has_uptime:
            self._story.ran_on = False
            self._restart(row, time_s, f"the controller started again {uptime_s:.0f} s ago", say)
        self._has_uptime = True
        if uptime_s < STARTING_S:
            say(Started(row, time_s, EVERY_CHANNEL, time_s - uptime_s))

    def heard(self, row: int, time_s: float, before_s: float, grew_s: float, say: Say) -> None:
        """A row that came later than usual; `grew_s`: by how much uptime grew since the last."""
        if before_s != before_s:
            self._cadence.begin(row, time_s)
            return
        gap_s = time_s - before_s
        was_gone = row == self._gone_row
        if was_gone and grew_s >= RAN_ON * gap_s:
            self._story.ran_on = True
            say(self._back(row, time_s))
        if self._silent:
            self._end_silence(row, time_s, say)
        elif self._state is not HostState.GONE and not was_gone:
            limit_s = self._cadence.limit_s(row, before_s)
            is_silence = self._cadence.is_silence(gap_s, row, before_s)
            if is_silence and 0.0 <= grew_s < min(SAME_TIME * gap_s, limit_s):
                # The controller's own clock says so little went by: the host's was set.
                say(leap(row, time_s, before_s, gap_s - grew_s))
            elif is_silence:
                self._begin_story(row, before_s)
                say(self._silence(row, time_s, before_s, time_s, limit_s))
                self._back_s = time_s
        if was_gone:
            self._cadence.outage(gap_s, row)
        else:
            self._cadence.gap(gap_s, row, before_s)

    def passed(self, row: int, time_s: float, heard_s: float, say: Say) -> None:
        self._knows_link = True
        if self._silent or self._state is HostState.GONE or heard_s != heard_s:
            return
        limit_s = self._cadence.limit_s(row, heard_s)
        if time_s - heard_s > limit_s:
            self._silent = True
            self._begin_story(row, heard_s)
            say(self._silence(row, time_s, heard_s, None, limit_s))

    def not_evaluated(self) -> list[NotEvaluated]:
        why = (
            "whether one channel alone fell silent can't be told where hosts may send only changes"
        )
        found = [NotEvaluated(kind=Kind.STALE, channel=EVERY_CHANNEL, why=why)]
        if not self._tells_state:
            why = "whether the host stopped the machine is not told"
            if self._words:
                why += f"; it last said '{clean(self._words, SHOWN)}'"
            found.insert(0, NotEvaluated(kind=Kind.HALT, channel=EVERY_CHANNEL, why=why))
        return found

    def _is_new_word(self, text: str) -> bool:
        """Take a state without a meaning; whether it is the first time: a question of its own."""
        word = text.strip("'")
        is_new = word not in self._known_words and len(self._known_words) < MOST_WORDS
        if is_new:
            self._known_words.add(word)
        self._unknown = [word] if is_new or not self._is_unknown else [*self._unknown[-1:], word]
        return is_new

    def _said_words(self) -> str:
        said = "', then '".join(dict.fromkeys(self._unknown))
        return f"the host says '{said}', which has no meaning here: not taken for up"

    def _end_silence(self, row: int, time_s: float, say: Say) -> None:
        if self._silent:
            self._silent = False
            self._back_s = time_s
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.STALE, time_s))

    def _told(self, row: int, time_s: float, said: LinkSaid, say: Say) -> None:
        """Something that the client says of the link."""
        if said.what in (What.LATE, What.DROPPED):
            if time_s - self._own_s > OWN_S:
                self._own = LinkStory()
            # The log's time stood still while this machine did.
            self._own_s = time_s + said.number * (said.what is What.LATE)
            self._own.late_s += said.number * (said.what is What.LATE)
            self._own.dropped += said.number * (said.what is What.DROPPED)
            return
        is_gone = self._state is HostState.GONE
        if said.what is What.LOST and not is_gone:
            # The state that follows in the same update reports it.
            self._begin_loss(row, time_s)
        self._story.take(said, time_s - self._lost_s)
        if is_gone:
            say(self._loss(row, time_s))
        elif self._silent:
            say(self._silence(row, time_s, self._heard_s, None, self._limit_s))
        elif said.what is What.OTHERS and self._lost_s == self._lost_s:
            say(self._back(row, self._back_s))
        elif said.what is What.HELD_UP and self._is_just_over(time_s):
            text = self._silence(row, time_s, self._heard_s, self._back_s, self._limit_s).text
            facts = self._story.facts()
            end_s = self._back_s
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.STALE, end_s, text=text, facts=facts))

    def _is_just_over(self, time_s: float) -> bool:
        """Whether a silence, rather than a loss, ended lately."""
        is_silence = not math.isnan(self._limit_s)
        return is_silence and time_s - self._back_s <= HELD_UP_S

    def _begin_loss(self, row: int, time_s: float) -> None:
        answers = self._silent and self._story.answers
        self._lost_s = time_s
        self._begin_story(row, time_s)
        self._story.answers = answers

    def _begin_story(self, row: int, time_s: float) -> None:
        self._story = LinkStory(ever_later=self._cadence.late_before(row))
        if time_s - self._own_s <= OWN_S:
            self._story.late_s, self._story.dropped = self._own.late_s, self._own.dropped

    def _loss(self, row: int, time_s: float) -> Sighting:
        found = self._sighting(row, time_s, Kind.LINK_LOSS, self._lost_s, self._loss_words())
        found.facts |= self._story.facts()
        return found

    def _back(self, row: int, time_s: float) -> Cleared:
        text, facts = self._loss_words(), self._story.facts()
        return Cleared(row, time_s, EVERY_CHANNEL, Kind.LINK_LOSS, time_s, text=text, facts=facts)

    def _loss_words(self) -> str:
        course = self._story.course()
        down = f"the link to the host is down{': ' if course else ''}{course}"
        return "; ".join([down, *self._story.beside()])

    def _silence(
        self, row: int, time_s: float, since_s: float, end_s: float | None, limit_s: float
    ) -> Sighting:
        self._heard_s, self._limit_s = since_s, limit_s
        up = " though the link is up" if self._knows_link else "; of the link nothing is told"
        beside = "".join(f"; {part}" for part in self._story.beside())
        said: dict[str, float | str] = {}
        if self._words_s >= since_s - BEFORE_S:
            beside += f"; the host says '{clean(self._words, SHOWN)}'"
            said = {"message": self._words}
        return Sighting(
            row=row,
            at_s=time_s,
            channel=EVERY_CHANNEL,
            kind=Kind.STALE,
            start_s=since_s,
            end_s=end_s,
            value=limit_s,
            unit="s",
            text=f"no update for more than {spelt(limit_s)}{up}{beside}",
            facts={
                "limit_s": limit_s,
                "link_known": float(self._knows_link),
                **self._story.facts(),
                **said,
            },
        )

    def _halt(self, row: int, time_s: float) -> Sighting:
        """The halt, in the words that go with it."""
        words = self._words if self._words_s >= self._halted_s - BEFORE_S else ""
        own = self._said if self._said_s >= self._halted_s else ""
        if words and self._words_s >= self._halted_s:
            start_s, self._halted_s = self._halted_s, math.nan
        else:
            start_s = self._halted_s
        said = words or own
        text = f"the host stopped the machine{': ' if said else ''}{said}"
        found = self._sighting(row, time_s, Kind.HALT, start_s, text)
        found.facts = {"message": said} if said else {}
        self._halt_said = found
        return found

    def _over(self, row: int, time_s: float) -> Cleared:
        """The end of a halt. What the host said with it is no reason of the halt."""
        over, before = Cleared(row, time_s, EVERY_CHANNEL, Kind.HALT, time_s), self._unsaid
        if self._halt_said is not None and before is not None and self._halt_said.at_s == time_s:
            over.text, over.facts = before.text, {"message": before.facts.get("message", "")}
        return over

    def _restart(self, row: int, time_s: float, text: str, say: Say) -> None:
        if time_s - self._restarted_s < ONE_RESTART_S:
            return
        self._restarted_s = time_s
        down = self._down_for(time_s)
        say(self._sighting(row, time_s, Kind.RESTART, time_s, text + down, end_s=time_s))

    def _down_for(self, time_s: float) -> str:
        """How long the link was down that a restart at this time is behind, in words."""
        is_gone = self._state is HostState.GONE
        if not is_gone and not time_s - self._back_s <= ONE_LOSS_S:
            return ""
        if not is_gone and self._back_s <= self._lost_s:
            return ""
        if self._lost_s != self._lost_s:
            return ""
        down_s = (time_s if is_gone else self._back_s) - self._lost_s
        return f"; its link was down for {spelt(down_s)}"

    def _sighting(
        self,
        row: int,
        time_s: float,
        kind: Kind,
        start_s: float,
        text: str,
        end_s: float | None = None,
    ) -> Sighting:
        facts: dict[str, float | str] = {"message": self._words} if self._words else {}
        return of_the_host(kind, row, time_s, text, start_s=start_s, end_s=end_s, facts=facts)
