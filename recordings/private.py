"""Replacing what is private in texts: the same string always by the same placeholder."""

import ipaddress
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import NamedTuple

LEAST_KNOWN = 3
"""Shorter known strings are not looked for: they are in too many words."""
MAX_KEPT = 100_000
"""Texts whose result is remembered."""

_PRINT_FILES = "gcode|gco|nc|ngc|tap|stl|obj|amf|step|stp|iges|igs|ply|svg|dxf|zip|txt|cfg|log|json"
_DOMAINS = "local|lan|home|internal|localdomain|arpa|com|net|org|info|dev|app|cloud|[a-z]{2}"


_Take = Callable[[str, str], str]
"""Notes a string of a kind and gives the character that stands for it."""


class Replaced(NamedTuple):
    """One string that was replaced."""

    placeholder: str
    kind: str
    original: str
    times: int


# In this order: what a pattern has taken, later ones do not see.
_PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = (
    (
        "token",
        re.compile(
            r"(?:(?<=\bbearer )|(?<=\bbasic )|"
            r"\b(?:[\w-]*(?:token|secret|passw(?:or)?d|passwd|pwd|api[-_]?key|credential)[\w-]*)"
            r"\"?\s*[:=]\s*\"?)(?P<part>[^\s\"',;&]{3,})",
            re.IGNORECASE,
        ),
    ),
    ("address", re.compile(r"\b[a-z][a-z0-9+.-]*://[^\s\"'<>]+", re.IGNORECASE)),
    ("address", re.compile(r"\bunix:[^\s\"'<>]+", re.IGNORECASE)),
    ("user", re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)*")),
    ("user", re.compile(r"(?<!\w)@[\w-]{2,}")),
    ("path", re.compile(r"(?<![\w.])(?:[A-Za-z]:\\|\\\\)[^\s\"'<>|]+")),
    ("path", re.compile(r"(?<![\w.])~?(?:/[^\s/\"'<>|:;,]+)+/?")),
    (
        "file",
        re.compile(
            rf"[^\s:;\"'<>,/\\][^:;\"'<>,/\\]*\.(?:{_PRINT_FILES})\b",
            re.IGNORECASE,
        ),
    ),
    ("address", re.compile(r"(?<![\w:])(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}(?![\w:])", re.I)),
    ("address", re.compile(r"(?<![\w.])(?:\d{1,3}\.){3}\d{1,3}(?::\d+)?(?![\w.]*\d)")),
    ("address", re.compile(r"(?<![\w:.])[0-9a-f:]*:[0-9a-f:]*:[0-9a-f:.]*(?:%\w+)?", re.I)),
    (
        "host",
        re.compile(rf"(?<![\w.-])(?:[\w-]{{2,}}\.)+(?:{_DOMAINS})(?![\w.-]*\w)(?::\d+)?", re.I),
    ),
    ("token", re.compile(r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b", re.IGNORECASE)),
    (
        "token",
        re.compile(r"(?<![\w+/=-])(?=[\w+/=-]*\d)(?=[\w+/=-]*[A-Za-z])[\w+/=-]{16,}(?![\w+/=-])"),
    ),
)


class Scrubber:
    """Replaces private strings. `known` gives such strings by their kind, found as whole words;
    words of `public` are never taken for private."""

    def __init__(self, known: Mapping[str, Iterable[str]], public: Iterable[str] = ()) -> None:
        self._public = {word.casefold() for word in public}
        self._placeholders: dict[tuple[str, str], str] = {}
        self._counts: Counter[str] = Counter()
        self._numbers: Counter[str] = Counter()
        self._kept: dict[str, str] = {}
        words = {
            word.casefold(): kind
            for kind, each in known.items()
            for word in each
            if len(word) >= LEAST_KNOWN and word.casefold() not in self._public
        }
        self._known = words
        longest_first = sorted(words, key=lambda word: (-len(word), word))
        joined = "|".join(map(re.escape, longest_first))
        self._exact = re.compile(rf"(?<!\w)(?:{joined})(?!\w)", re.IGNORECASE) if joined else None

    def __call__(self, text: str) -> str:
        """The text without what is private."""
        found = self._kept.get(text)
        if found is None:
            found = self._scrub(text)
            if len(self._kept) < MAX_KEPT:
                self._kept[text] = found
        return found

    def whole(self, text: str, kind: str) -> str:
        """A text that is private as a whole."""
        return self._placeholder(kind, text) if text else text

    @property
    def replaced(self) -> list[Replaced]:
        """What was replaced, by placeholder."""
        return [
            Replaced(placeholder, kind, original, self._counts[placeholder])
            for (kind, original), placeholder in self._placeholders.items()
        ]

    def _scrub(self, text: str) -> str:
        # Placeholders stand as private-use characters until all patterns are through, so that
        # no pattern reads them.
        taken: list[str] = []

        def take(kind: str, original: str) -> str:
            taken.append(self._placeholder(kind, original))
            return chr(0xE000 + len(taken) - 1)

        text = re.sub("[\ue000-\uf8ff]", "", text)
        for kind, pattern in _PATTERNS[:3]:
            text = pattern.sub(partial(_one, kind=kind, take=take), text)
        if self._exact is not None:
            text = self._exact.sub(
                lambda found: take(self._known[found.group().casefold()], found.group()), text
            )
        for kind, pattern in _PATTERNS[3:]:
            text = pattern.sub(partial(self._maybe, kind=kind, take=take), text)
        for number, placeholder in enumerate(taken):
            text = text.replace(chr(0xE000 + number), placeholder)
        return text

    def _maybe(self, found: re.Match[str], kind: str, take: _Take) -> str:
        text = found.group()
        if text.casefold() in self._public or (":" in text and not _is_address(kind, text)):
            return text
        return _one(found, kind, take)

    def _placeholder(self, kind: str, original: str) -> str:
        key = (kind, original.casefold() if kind in ("host", "user") else original)
        placeholder = self._placeholders.get(key)
        if placeholder is None:
            self._numbers[kind] += 1
            placeholder = self._placeholders[key] = f"{kind}-{self._numbers[kind]}"
        self._counts[placeholder] += 1
        return placeholder


def _one(found: re.Match[str], kind: str, take: _Take) -> str:
    """A match, or the `part` of it that is private, replaced."""
    part = found.groupdict().get("part")
    if part is None:
        return take(kind, found.group())
    start, end = found.span("part")
    text = found.group()
    at = start - found.start()
    return text[:at] + take(kind, part) + text[at + end - start :]


def _is_address(kind: str, text: str) -> bool:
    """Whether a match with colons is more than a time of day or a pair of words."""
    if kind != "address":
        return True
    if re.fullmatch(r"(?:[0-9a-f]{2}:){5}[0-9a-f]{2}|[\d.]+:\d+", text, re.IGNORECASE):
        return True
    try:
        ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return False
    return text != "::"
