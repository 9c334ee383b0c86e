"""One bad link, from the world through client, detectors and diagnosis."""

import asyncio
import random
from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from client.address import Address
from client.company import Company
from client.form import Profile
from client.framing import CutShort
from client.mapping import Mapper
from client.supervisor import Supervisor
from client.telling import Teller
from detectors.diagnosis.case import cases
from detectors.diagnosis.diagnose import diagnose
from detectors.diagnosis.evidence import facts_of
from detectors.diagnosis.rank import TEMPERATURE, Odds, doubted, evidence_of, posterior, tempered
from detectors.diagnosis.table import Candidate
from detectors.engine.watch import Watch
from shared.errors import BadInput
from shared.events import Event, RankedCause
from shared.link import How
from shared.updates import Entry, EntryKind, LinkNews, batch_of
from shared.words import EVERY_CHANNEL, Kind
from tests.client.doubles import SkippingLoop
from tests.quality.links.draws import FOR_S, Drawn, draw

TICK_S = 1.0
OWN_S = 1_000.0
"""Own time at the loop's 0."""
_LINK_KINDS = (Kind.LINK_LOSS, Kind.STALE)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One link, judged. `raw` is None where nothing asks for a cause."""

    case: str
    way: str
    cause: Candidate
    raw: Odds | None
    is_told: bool
    """Whether one of the words that fit stands in what is told."""
    as_restart: bool
    """Whether it is told as a restart, which asks for no cause."""
    check: str
    text: str

    def odds(self, temperature: float = TEMPERATURE) -> Odds:
        assert self.raw is not None
        return doubted(tempered(self.raw, temperature))

    @property
    def leading(self) -> Candidate:
        odds = self.odds()
        return max(odds, key=lambda cause: odds[cause])

    @property
    def is_right(self) -> bool:
        """The true cause leads; or it is a restart, told as one, where no cause is true."""
        if self.raw is None:
            return self.as_restart and self.cause is None
        return self.leading == self.cause


class _Notebook:
    """What the reader's thread does with what it is told, on the loop's time."""

    def __init__(self, company: Company) -> None:
        self.entries: list[Entry] = []
        self._teller = Teller(TICK_S, company)
        self._last_s = self._now_s()

    def trying(self, attempt: int, why: str) -> None:
        """Nothing to keep."""

    def waiting(self, attempt: int, why: str, wait_s: float) -> None:
        """Nothing to keep."""

    def opened(self, address: Address) -> None:
        self._put(self._teller.opened(self._now_s(), address.shown))

    def lost(self, why: str, how: How) -> None:
        self._put(self._teller.lost(self._now_s(), why, how))

    def failed(self, why: str, how: How) -> None:
        self._put(self._teller.failed(self._now_s(), why, how))

    def answers(self) -> None:
        self._put(self._teller.answers(self._now_s()))

    def message(self, frame: bytes) -> None:
        now_s = self._last_s = self._now_s()
        self._put(self._teller.message(now_s))
        kind = EntryKind.CUT_SHORT if isinstance(frame, CutShort) else EntryKind.MESSAGE
        self.entries.append(Entry(now_s, kind, bytes(frame)))

    async def beats(self) -> None:
        """Ticks where nothing comes."""
        while True:
            now_s = self._now_s()
            self._put(self._teller.beat(now_s))
            quiet_s = now_s - self._last_s
            if quiet_s >= TICK_S:
                self.entries.append(Entry(now_s, EntryKind.TICK))
                self._last_s, quiet_s = now_s, 0.0
            await asyncio.sleep(max(TICK_S - quiet_s, 0.01))

    def _now_s(self) -> float:
        return OWN_S + asyncio.get_running_loop().time()

    def _put(self, told: Iterable[LinkNews]) -> None:
        for news in told:
            entry = Entry(self._now_s(), EntryKind.LINK, msgspec.json.encode(news))
            self.entries.append(entry)


def entries_of(drawn: Drawn, seed: int) -> list[Entry]:
    """What the client puts on record of this link."""
    with asyncio.Runner(loop_factory=SkippingLoop) as runner:
        found = runner.run(_watched(drawn, seed))
    for at_s, count in drawn.dropped:
        found = _dropped(found, OWN_S + at_s, count)
    return found


async def _watched(drawn: Drawn, seed: int) -> list[Entry]:
    loop = asyncio.get_running_loop()
    assert isinstance(loop, SkippingLoop)
    loop.tire(1e-6)
    company = Company()
    book = _Notebook(company)
    seats = [company.take_seat() for _ in drawn.others]
    for seat, lost_s in zip(seats, drawn.others, strict=True):
        company.opened(seat)
        if lost_s < FOR_S:
            loop.call_at(lost_s, company.lost, seat, OWN_S + lost_s)
    for at_s, lasts_s in drawn.world.stalls:
        loop.call_at(at_s, loop.stand_still, lasts_s)
    supervisor = Supervisor(
        profile_of(drawn),
        book,
        first_must_work=False,
        connect=drawn.world.connect,
        chance=random.Random(seed),
    )
    beats = asyncio.create_task(book.beats())
    try:
        async with asyncio.timeout(FOR_S):
            await supervisor.run()
    except (TimeoutError, BadInput):
        pass
    finally:
        beats.cancel()
    return book.entries


def profile_of(drawn: Drawn) -> Profile:
    """The profile of the drawn host."""
    world = drawn.world
    channels: dict[str, object] = {"nozzle": {"temperature_c": {"at": "/n"}}}
    if world.has_uptime:
        channels["controller"] = {"uptime_s": {"at": "/up"}}
    if world.says_starting:
        channels["host"] = {"state": {"at": "/s"}}
    update = {"clock": "/t"} if world.has_clock else {}
    address = "ws://192.0.2.7:9000/" if world.is_websocket else "tcp://192.0.2.7:9000"
    given = {"format": 1, "addresses": [address], "updates": [update], "channels": channels}
    return msgspec.convert(given, Profile)


def _dropped(entries: list[Entry], at_s: float, count: int) -> list[Entry]:
    """The record without so many messages, as the queue drops its oldest."""
    kept, left = [], count
    for entry in entries:
        if entry.own_s >= at_s and left > 0:
            left -= 1
            if left == 0:
                news = LinkNews(True, "", f"dropped {count}")
                kept.append(Entry(entry.own_s, EntryKind.LINK, msgspec.json.encode(news)))
        else:
            kept.append(entry)
    return kept


def judged(task: tuple[str, int]) -> Outcome:
    """Draw, watch, detect, diagnose."""
    case, seed = task
    drawn = draw(case, seed)
    events = events_of(drawn, seed)
    ranked = [each for each in diagnose(events, {}) if each.channel == EVERY_CHANNEL]
    of_link = (case for case in cases(events, {}) if case.channel == EVERY_CHANNEL)
    raw = next((posterior(evidence_of(case, facts_of(case))) for case in of_link), None)
    return _outcome(case, drawn, events, ranked, raw)


def events_of(drawn: Drawn, seed: int) -> list[Event]:
    """What is found in the record of a drawn link."""
    mapper = Mapper(profile_of(drawn))
    updates = [update for entry in entries_of(drawn, seed) for update in mapper.feed(entry)]
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    return watch.events


def _outcome(
    case: str, drawn: Drawn, events: list[Event], ranked: list[RankedCause], raw: Odds | None
) -> Outcome:
    seen = [event for event in events if event.absorbed_by is None]
    restarts = [event for event in seen if event.kind is Kind.RESTART]
    text = " | ".join(each.text for each in seen if each.kind in (*_LINK_KINDS, Kind.RESTART))
    check = ranked[0].next_check if ranked else None
    return Outcome(
        case,
        drawn.way,
        drawn.cause,
        raw,
        any(words in text for words in drawn.told),
        bool(restarts) and raw is None,
        check.name if check else "",
        text,
    )
