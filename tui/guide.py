"""The guided check: which one, its caution, its marks, what it has found, the answer.

It takes the screen's samples from the history, so nothing waits for it and it waits for
nothing. It commands nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from detectors.diagnosis import Answer
from detectors.diagnosis.checks import fitting
from detectors.diagnosis.table import CheckForm, Scene
from detectors.measured import GUIDED, Bench, Guided, Measured, Progress, guided
from detectors.measured.guide import Setup
from shared.chain import UNTOLD, Chain
from shared.events import Check
from shared.notes import ANSWER, FROM_S, MEASURED
from shared.updates import Update, Value
from tui.snapshot import Snapshot, SnapshotSource

MOST_AT_ONCE_S = 600.0
"""A check that was left alone for longer goes on from here."""
FLASH_S = 1.0
OUTCOME_KEYS = "ABCDEF"


class GuideStage(Enum):
    CHOOSE = auto()
    """The check, what to mind, and whether to begin."""
    RUNNING = auto()
    ANSWERED = auto()


@dataclass(frozen=True, slots=True)
class GuideItem:
    """A check that may be chosen: of the catalogue, measured, or both."""

    form: CheckForm | None
    measured: Guided | None
    is_next: bool = False

    @property
    def title(self) -> str:
        title = self.measured.title if self.measured is not None else ""
        name = self.form.name.replace("-", " ") if self.form is not None else ""
        return f"{name} (measured: {title})" if name and title else name or f"measured: {title}"


class Guide:
    """One check on one channel."""

    def __init__(
        self, source: SnapshotSource, now: Snapshot, channel: str, check: str = "", about: str = ""
    ) -> None:
        self._source = source
        self.channel = channel
        self.about = about or channel
        """Whose causes it is to tell apart: the channel's, or those of all channels."""
        self.items = _items(now, self.about, _working(source.chains, now))
        names = [check] if check else []
        self.place = next(
            (
                place
                for place, item in enumerate(self.items)
                if _is_named(item, names) or (not names and item.is_next)
            ),
            0,
        )
        self.stage = GuideStage.CHOOSE
        self.measured: Measured | None = None
        self._fed_s = now.now_s
        self._begun_s = now.now_s
        self.answered: tuple[Answer, ...] = ()
        self.flash_until_s = float("-inf")
        self._bench = self._new_bench(now)

    @property
    def item(self) -> GuideItem:
        return self.items[self.place]

    @property
    def progress(self) -> Progress | None:
        return None if self.measured is None else self.measured.progress()

    @property
    def ohms(self) -> float:
        return self._bench.ohms(self.channel)

    @property
    def is_open(self) -> bool:
        """Whether the input stands open; not where nothing was heard."""
        return self.ohms == self.ohms and self._bench.is_open(self.channel)

    @property
    def now_s(self) -> float:
        return self._fed_s

    @property
    def caution(self) -> str:
        if self.item.measured is not None:
            return self.item.measured.caution
        return self.item.form.caution if self.item.form is not None else ""

    def choose(self, step: int) -> None:
        """Another check, while none is begun."""
        if self.stage is GuideStage.CHOOSE:
            self.place = (self.place + step) % len(self.items)

    def begin(self, now: Snapshot) -> None:
        """The person has read what to mind."""
        if self.stage is not GuideStage.CHOOSE:
            return
        self.stage = GuideStage.RUNNING
        self._begun_s = now.now_s
        self._bench = self._new_bench(now)
        self.measured = self._make(self._bench) if self.item.measured is not None else None

    def mark(self, number: int) -> None:
        if self.measured is not None and self.stage is GuideStage.RUNNING:
            self.measured.mark(number)

    def tell(self, number: float) -> None:
        if self.measured is not None and self.stage is GuideStage.RUNNING:
            self.measured.tell(number)

    def take(self, now: Snapshot) -> int:
        """Feed what has come since; the number of breaks that began in it."""
        rang = 0
        for update in self._updates(now.now_s):
            if self.measured is None or self.stage is not GuideStage.RUNNING:
                self._bench.feed(update)
                self._bench.breaks.clear()
                self._bench.windows.clear()
            elif self.measured.feed(update):
                rang += 1
                self.flash_until_s = update.time_s + FLASH_S
        return rang

    def accept(self, now: Snapshot) -> str:
        """Record what was measured as the answer; a line that says so, or why not."""
        progress = self.progress
        finding = None if progress is None else progress.finding
        if finding is None:
            return "nothing found yet; A, B, … answer by hand"
        if not finding.answers:
            facts = {**finding.facts, FROM_S: self._begun_s}
            self._source.note(f"{self.item.title}: {finding.text}", now.now_s, MEASURED, facts)
            self.stage = GuideStage.ANSWERED
            return "noted; it answers no check of the diagnosis"
        for answer in finding.answers:
            if self.about != self.channel:
                answer = Answer(channel=self.about, check=answer.check, outcome=answer.outcome)
            self._record(answer, finding.text, now, finding.facts)
        return self._said()

    def answer(self, place: int, now: Snapshot) -> str:
        """Record an outcome that the person saw."""
        form = self.item.form
        if form is None or place >= len(form.outcomes) or self.stage is GuideStage.ANSWERED:
            return ""
        outcome = form.outcomes[place]
        answer = Answer(channel=self.about, check=form.name, outcome=outcome.name)
        self._record(answer, f"{form.name}: {outcome.words}", now, {})
        return self._said()

    @property
    def change(self) -> str:
        """Name of the check, where doing it changes the machine and so starts a trial."""
        form = self.item.form
        return form.name if form is not None and form.changes else ""

    def _said(self) -> str:
        told = ", ".join(f"{answer.check}: {answer.outcome}" for answer in self.answered)
        return f"answered: {told}"

    def _record(
        self, answer: Answer, text: str, now: Snapshot, numbers: dict[str, float | str]
    ) -> None:
        facts: dict[str, float | str] = {
            "channel": answer.channel,
            "check": answer.check,
            "outcome": answer.outcome,
        }
        if self.measured is not None:
            facts[FROM_S] = self._begun_s
        self._source.note(text, now.now_s, ANSWER, {**numbers, **facts})
        self.answered = (*self.answered, answer)
        self.stage = GuideStage.ANSWERED

    # -- data --

    def _make(self, bench: Bench) -> Measured | None:
        one = self.item.measured
        if one is None:
            return None
        now = self._source.snapshot()
        channels = [health.channel for health in now.channels]
        usual = [
            trial.rate_per_h
            for trial in now.trials
            if trial.channel == self.channel and trial.count
        ]
        chains = _working(self._source.chains, now)
        setup = Setup(self.channel, channels, chains, max(usual, default=None))
        return one.make(setup, bench)

    def _new_bench(self, now: Snapshot) -> Bench:
        """A bench that knows what holds now, and looks at what comes from here on."""
        bench = Bench(_working(self._source.chains, now))
        self._fed_s = now.now_s
        history = self._source.history
        held: dict[str, Value] = {}
        for key in history.keys:
            value = history.last(key, now.now_s)
            if value is not None:
                held[key] = value
        if held:
            bench.feed(Update(now.now_s, held))
        return bench

    def _updates(self, until_s: float) -> list[Update]:
        """Samples since the last call as updates, in order of time."""
        from_s, self._fed_s = self._fed_s, max(until_s, self._fed_s)
        if until_s <= from_s:
            # A replay's cursor went back: go on from there.
            self._fed_s = until_s
            return []
        if until_s - from_s > MOST_AT_ONCE_S:
            return []
        history = self._source.history
        rows: dict[float, dict[str, Value]] = {}
        for key in history.keys:
            times, values = history.samples(key, from_s, until_s)
            for index in np.flatnonzero((times > from_s) & ~np.isnan(values)).tolist():
                rows.setdefault(float(times[index]), {})[key] = float(values[index])
        return [Update(time_s, rows[time_s]) for time_s in sorted(rows)]


def _items(now: Snapshot, channel: str, chains: Mapping[str, Chain]) -> list[GuideItem]:
    """Checks to choose from: the next one, then the measured ones, then the rest."""
    ranked = [cause for cause in now.causes if cause.channel == channel]
    proposed: list[Check] = [cause.next_check for cause in ranked if cause.next_check is not None]
    count = len(now.channels)
    kinds = {event.kind for event in now.events if event.channel == channel}
    scene = Scene(chains.get(channel, UNTOLD), count, kinds)
    forms = {form.name: form for form in fitting(scene)}
    names = list(dict.fromkeys(check.name for check in proposed if check.name in forms))
    items = [
        GuideItem(forms[name], _measures(name, scene), place == 0)
        for place, name in enumerate(names)
    ]
    taken = {item.measured.name for item in items if item.measured is not None}
    for one in GUIDED:
        if one.name not in taken and _may_run(one, scene):
            form = forms.get(one.serves[0])
            known = form if form is not None and form.name not in names else None
            items.append(GuideItem(known, one))
            names += [known.name] if known is not None else []
    return items + [GuideItem(form, None) for name, form in forms.items() if name not in names]


def _working(told: Mapping[str, Chain], now: Snapshot) -> dict[str, Chain]:
    """Chain facts as told, and as the watch has worked them out where they were not."""
    return {**told, **{state.channel: state.chain for state in now.chains}}


def _measures(name: str, scene: Scene) -> Guided | None:
    one = guided(name)
    return one if one is not None and _may_run(one, scene) else None


def _may_run(one: Guided, scene: Scene) -> bool:
    # What is measured here has the machine on.
    return one.needs_channels <= scene.channels and not scene.runs_away


def _is_named(item: GuideItem, names: list[str]) -> bool:
    is_form = item.form is not None and item.form.name in names
    return is_form or (item.measured is not None and item.measured.name in names)


def open_guide(source: SnapshotSource, now: Snapshot, channel: str, check: str = "") -> Guide:
    """A guide on the channel in focus, or on the one with the likeliest cause.

    Where that is a cause of all channels, the channel in focus is looked at for it.
    """
    with_causes = [cause.channel for cause in now.causes if cause.next_check is not None]
    heard = [health.channel for health in now.channels]
    if not with_causes or channel in with_causes:
        return Guide(source, now, channel, check)
    about = with_causes[0]
    return Guide(source, now, about if about in heard else channel, check, about)


def number_in(text: str) -> float | None:
    """A number as people type it, with a point or a comma, a unit after it or not."""
    word = text.strip().replace(",", ".").split(" ")[0].rstrip("Ωm")
    try:
        number = float(word)
    except ValueError:
        return None
    return number if abs(number) < 1e9 else None
