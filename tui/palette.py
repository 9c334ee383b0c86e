"""The command palette: our own commands, by what they do."""

from collections.abc import Iterator
from functools import partial

from textual.command import DiscoveryHit, Hit, Hits, Provider

from tui.keys import Key, keys_of
from tui.state import ViewName

_LEFT_OUT = ("palette", "view.next", "view.back")


class Commands(Provider):
    """Every key's action, found by its words."""

    def _keys(self) -> Iterator[Key]:
        # The app is `OhmvigilApp`; naming its class here would make the imports a circle.
        replaying = bool(getattr(self.app, "replaying", False))
        seen: set[str] = set()
        for view in ViewName:
            for key in keys_of(view, replaying):
                if key.id not in seen and key.id not in _LEFT_OUT:
                    seen.add(key.id)
                    yield key

    async def discover(self) -> Hits:
        for key in self._keys():
            yield DiscoveryHit(key.text, partial(self.app.run_action, key.action), help=key.shown)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for key in self._keys():
            score = matcher.match(key.text)
            if score > 0:
                yield Hit(
                    score,
                    matcher.highlight(key.text),
                    partial(self.app.run_action, key.action),
                    help=key.shown,
                )
