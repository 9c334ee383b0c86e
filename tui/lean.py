"""A screen that sends only the cells that changed.

The library crops an update on its right side alone: for a changed cell it sends its whole
line up to there, which in a list of hosts is many times what changed. Here it is cropped on both
sides. The bytes are the same cells at the same places, so nothing else is touched.
"""

from rich.console import Console
from rich.control import Control
from textual._compositor import ChopsUpdate, Compositor
from textual.screen import Screen


class LeanUpdate(ChopsUpdate):
    """Changed spans, each sent from its first cell to its last."""

    def render_segments(self, console: Console) -> str:
        """Raw data for the terminal."""
        sent: list[str] = []
        for y, start, stop in self.spans:
            for end, (x, strip) in zip(self.chop_ends[y], self.chops[y].items(), strict=False):
                first, last = max(start, x), min(stop, end)
                if strip is not None and first < last:
                    sent.append(Control.move_to(first, y).segment.text)
                    sent.append(strip.crop(first - x, last - x).render(console))
        return "".join(sent)


class LeanCompositor(Compositor):
    """Makes lean updates."""

    def render_partial_update(self) -> ChopsUpdate | None:
        update = super().render_partial_update()
        if type(update) is not ChopsUpdate:
            return update
        return LeanUpdate(update.chops, update.spans, update.chop_ends)


class LeanScreen(Screen[None]):
    """The screen that the program begins with."""

    def __init__(self) -> None:
        super().__init__(id="_default")
        self._compositor = LeanCompositor()
