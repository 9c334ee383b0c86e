"""Actions of the screen that belong to checks and trials."""

from shared.notes import TRIAL
from shared.when import hms
from tui.guide import GuideStage, number_in, open_guide
from tui.keys import CHECK_ACTIONS
from tui.snapshot import Snapshot, SnapshotSource
from tui.state import ScreenState, ViewName


class Checking:
    """Mixed into the app, which has what is only named here."""

    source: SnapshotSource
    state: ScreenState
    _now: Snapshot

    def repaint(self) -> None: ...

    def tell(self, message: str) -> None: ...

    def action_show(self, view: str) -> None: ...

    def action_close(self) -> None: ...

    def _note_s(self) -> float:
        raise NotImplementedError

    def _open_input(self, asked: str, placeholder: str, value: str) -> None: ...

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Some keys mean a mark or an answer while a check is shown, and a view elsewhere."""
        return action not in CHECK_ACTIONS or self.state.view is ViewName.CHECK

    def action_check(self, name: str = "") -> None:
        """Open a check by name, or go on with the one that is open, or the next one."""
        guide = self.state.guide
        if name or guide is None or guide.stage is not GuideStage.RUNNING:
            self.state.guide = open_guide(self.source, self._now, self.state.channel, name)
        self.action_show(ViewName.CHECK)

    def action_mark(self, number: int) -> None:
        if self.state.guide is not None:
            self.state.guide.mark(number)
            self.repaint()

    def action_accept(self) -> None:
        guide = self.state.guide
        if guide is None:
            return
        if guide.stage is GuideStage.CHOOSE:
            guide.begin(self._now)
            self.repaint()
        elif guide.stage is GuideStage.RUNNING:
            self.tell(guide.accept(self._now))
        else:
            self.action_close()

    def action_answer(self, place: int) -> None:
        guide = self.state.guide
        told = "" if guide is None else guide.answer(place, self._now)
        if told:
            self.tell(told)

    def action_value(self) -> None:
        progress = None if self.state.guide is None else self.state.guide.progress
        if progress is not None and progress.asks:
            self._open_input("value", progress.asks, "")

    def action_trial(self) -> None:
        guide = self.state.guide if self.state.view is ViewName.CHECK else None
        change = guide.change if guide is not None else ""
        placeholder = f"trial at {hms(self._note_s())}: what was changed"
        self._open_input("trial", placeholder, change.replace("-", " "))

    def _start_trial(self, text: str, at_s: float) -> None:
        guide = self.state.guide if self.state.view is ViewName.CHECK else None
        facts = {}
        if guide is not None and guide.change:
            facts = {"channel": guide.about, "change": guide.change}
        kept = self.source.note(text, at_s, TRIAL, facts)
        self.tell(f"a trial starts at {hms(at_s)}: 6 shows it{kept and f'; {kept}'}")

    def take_words(self, asked: str, text: str, at_s: float) -> None:
        """Words that the person typed for a trial or for a number."""
        if asked == "trial":
            self._start_trial(text, at_s)
        elif asked == "value" and self.state.guide is not None:
            number = number_in(text)
            if number is None:
                self.tell(f"'{text}' is no number")
            else:
                self.state.guide.tell(number)
