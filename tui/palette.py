"""The command palette: our own commands, by what they do."""

from collections.abc import Iterator
from functools import partial

from textual.command import DiscoveryHit, Hit, Hits, Provider

from detectors.measured import GUIDED
from tui.keys import Key, keys_of
from tui.state import ViewName

_LEFT_OUT = ("palette", "view.next", "view.back", "check.mark", "check.by-hand")


class Commands(Provider):
    """Every key's action, found by its words."""

    def _keys(self) -> Iterator[Key]:
        # The app is `OhmvigilApp`; naming its class here would make the imports a circle.
        replaying = bool(getattr(self.app, "replaying", False))
        seen: set[str] = set()
        for view in ViewName:
            for key in keys_of(view, replaying):
                if key.id not in seen and not key.id.startswith(_LEFT_OUT):
                    seen.add(key.id)
                    yield key

    def _commands(self) -> Iterator[tuple[str, str, str]]:
        """Words, action and key of each command; measured checks have no key of their own."""
        for key in self._keys():
            yield key.text, key.action, key.shown
        for one in GUIDED:
            yield f"check: {one.title}", f"check('{one.name}')", "measured"

    async def discover(self) -> Hits:
        for text, action, shown in self._commands():
            yield DiscoveryHit(text, partial(self.app.run_action, action), help=shown)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for text, action, shown in self._commands():
            score = matcher.match(text)
            if score > 0:
                run = partial(self.app.run_action, action)
                yield Hit(score, matcher.highlight(text), run, help=shown)
