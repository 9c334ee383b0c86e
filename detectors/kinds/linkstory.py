"""How one loss of the link went: what the client told of it, as facts and in plain words.

Facts (`Event.facts` of link-loss and stale, complete each time):

    ended, since     how it ended, what the tries since found: words of `shared.link.How`
    ran_on           1: uptime grew over the gap, so that the host ran on
    late_s           how long this machine itself was held up just before
    held_s           how long messages were held up on the way, and then came all at once
    dropped          messages dropped here unread just before
    answers          1: silent, but it gave a sign of life when asked
    reopened         1: mute, and yet the next try to open it worked
    ever_later       updates that came late one after the other just before
    others_lost, others_of   other hosts watched here, lost at the same time
"""

from dataclasses import dataclass, field

from shared.link import How, LinkSaid, What
from shared.when import spelt

AT_ONCE_S = 0.2
"""Log time stays 1 s behind what the client tells, and a packet that was lost is not sent again
within a second (RFC 6298): a try that works sooner met a free way."""
DECIDING = (How.DENIED, How.WRONG, How.REFUSED, How.BUSY, How.MUTE, How.NO_NETWORK)
"""What one try found, whatever others found before or after; the first leads."""

_SINCE = {
    How.REFUSED: "its port refused: the host's service was not running",
    How.TIMED_OUT: "nobody answered at its address",
    How.NO_WAY: "no machine was found at its address",
    How.NO_NETWORK: "this machine itself had no network",
    How.MUTE: "it took the link and said nothing: its service hangs",
    How.DENIED: "the host refuses us",
    How.WRONG: "something else answers at its address",
    How.BUSY: "it answered that it cannot serve now",
    How.CLOSED: "it closed each new link",
    How.BROKEN: "it ended each new link",
    How.RESET: "it ended each new link",
    How.OURS: "we ended each new link, by a limit of our own",
}
_QUOTED = {How.DENIED, How.WRONG, How.BUSY, How.CLOSED, How.OTHER, How.OURS}


@dataclass(slots=True)
class LinkStory:
    """Filled as tellings come; a new one is begun for each loss."""

    ended: How | None = None
    ended_words: str = ""
    reopened: bool = False
    since: list[tuple[How, str]] = field(default_factory=list)
    ran_on: bool = False
    late_s: float = 0.0
    held_s: float = 0.0
    dropped: float = 0.0
    answers: bool = False
    ever_later: int = 0
    others_lost: int = 0
    others_of: int = 0

    def take(self, said: LinkSaid, after_s: float) -> None:
        """A telling that belongs to this loss, `after_s` after it began."""
        if said.what is What.TRIED:
            self._find(said.how, said.words)
        elif said.what is What.LOST and self.ended is None:
            self.ended, self.ended_words = said.how, said.words
        elif said.what is What.LOST:
            # Opened meanwhile, and lost again before the host said anything.
            self._find(How.MUTE if said.how is How.SILENT else said.how, said.words)
        elif said.what is What.OPEN:
            mute = self.ended is How.SILENT and not self.since
            self.reopened = mute and after_s <= AT_ONCE_S
        elif said.what is What.OTHERS:
            self.others_lost, self.others_of = int(said.number), said.of
        elif said.what is What.HELD_UP:
            self.held_s = max(self.held_s, said.number)
        elif said.what is What.ANSWERS:
            self.answers = True

    def _find(self, how: How, words: str) -> None:
        self.since = [each for each in self.since if each[0] is not how]
        self.since.append((how, words))

    @property
    def found(self) -> tuple[How, str] | None:
        """What the tries since amount to."""
        by_how = dict(self.since)
        for how in DECIDING:
            if how in by_how:
                return how, by_how[how]
        return self.since[-1] if self.since else None

    def facts(self) -> dict[str, float | str]:
        found = self.found
        return {
            "ended": "" if self.ended is None else self.ended.value,
            "since": "" if found is None else found[0].value,
            "reopened": float(self.reopened),
            "ran_on": float(self.ran_on),
            "late_s": self.late_s,
            "held_s": self.held_s,
            "dropped": self.dropped,
            "answers": float(self.answers),
            "ever_later": float(self.ever_later),
            "others_lost": float(self.others_lost),
            "others_of": float(self.others_of),
        }

    def course(self) -> str:
        """How it went, in plain words; empty where nothing was told."""
        parts = [self.ended_words] if self.ended_words else []
        if self.ended is How.DENIED:
            parts.append("it refuses us")
        found = self.found
        if found is not None:
            how, words = found
            meant = _SINCE.get(how, "")
            quoted = f" ({words})" if meant and how in _QUOTED and words else ""
            parts.append(f"then {meant}{quoted}" if meant else f"then {words}")
        return "; ".join(parts)

    def beside(self) -> list[str]:
        """What else bears on it."""
        parts = []
        if self.reopened:
            parts.append("the next try worked at once")
        if self.answers:
            parts.append("it answers when asked for a sign of life")
        if self.held_s:
            parts.append(f"what it had sent came all at once after {spelt(self.held_s)}")
        if self.ever_later:
            parts.append("updates had come later and later before")
        if self.ran_on:
            parts.append("the host ran on meanwhile")
        if self.others_of:
            were = "was" if self.others_lost == 1 else "were"
            count = self.others_lost or "none"
            parts.append(f"of {self.others_of} other hosts watched here {count} {were} lost too")
        if self.dropped:
            parts.append(f"{self.dropped:.0f} messages were dropped here, unread")
        if self.late_s:
            parts.append(f"this machine itself was held up or asleep for {spelt(self.late_s)}")
        return parts
