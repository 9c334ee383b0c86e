"""Replacing what is private in texts: the same string always by the same placeholder."""

import ipaddress
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import NamedTuple

from shared.secrets import is_secret_name

LEAST_KNOWN = 3
"""Shorter known strings are not looked for: they are in too many words."""
MAX_KEPT = 100_000
"""Texts whose result is remembered."""

_FILES = (
    "gcode|gco|nc|ngc|tap|stl|obj|amf|3mf|step|stp|iges|igs|ply|svg|dxf|zip|gz|tar|7z|rar|txt|cfg|"
    "conf|ini|toml|ya?ml|xml|csv|log|json|db|png|jpe?g|webp|pdf|py|sh|key|pem|crt|bak|tmp"
)
_DOMAINS = "local|lan|home|internal|localdomain|arpa|com|net|org|info|dev|app|cloud|[a-z]{2}"
_SECRETS = (
    r"[\w-]*(?:token|secret|passw(?:or)?d|passwd|pwd|passphrase|psk|api[-_]?key|credential|session|"
    r"\bsid\b)[\w-]*"
)
_QUOTED = "\"[^\"]{1,200}\"|(?<!\\w)'[^']{1,200}'(?!\\w)|“[^”]{1,200}”|‘[^’]{1,200}’|«[^»]{1,200}»"
_REST = rf"(?:{_QUOTED}|[^\s\"',;][^\"',;]{{0,200}})"
"""What a label is followed by: a quoted text, or all to the end of the clause."""
_MARKS = "\"'“”‘’«»"
_TAKEN = re.compile("[\ue000-\uf8ff]+")
"""What has been taken out already."""
_STEP = r"(?:[^\s/\"'<>|:;,]|(?<=[\w\ue000-\uf8ff])'(?=\w))+"
"""One part of a path."""
_WORD = rf"(?:{_QUOTED}|[^\s\"',;&]{{2,200}})"


_Take = Callable[[str, str], str]
"""Notes a string of a kind and gives the character that stands for it."""


class Replaced(NamedTuple):
    """One string that was replaced."""

    placeholder: str
    kind: str
    original: str
    times: int


def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(text, re.IGNORECASE)


# In this order: what a pattern has taken, later ones do not see. Of a match only its group
# `part` is private, where it has one. Names that nothing marks as one cannot be found so; the
# command shows what is left.
_WITH_WORDS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("token", _pattern(rf"\b(?:set-)?cookie\"?\s*:\s*(?P<part>{_REST})")),
    ("token", _pattern(rf"\b(?:passphrase|psk|password)\"?\s*[:=]\s*(?P<part>{_REST})")),
    (
        "token",
        _pattern(
            r"(?:(?<=\bbearer )|(?<=\bbasic )|"
            rf"\b{_SECRETS}(?: key)?\"?\s*[:=]\s*\"?)(?P<part>[^\s\"',;&]{{3,}})"
        ),
    ),
    (
        "token",
        _pattern(rf"\b{_SECRETS} (?:(?:is|was) )?(?P<part>{_QUOTED}|[^\s\"',;&]*\d[^\s\"',;&]*)"),
    ),
    ("address", _pattern(r"\b[a-z][a-z0-9+.-]*://[^\s\"'<>]+")),
    ("address", _pattern(r"\bunix:[^\s\"'<>]+")),
)
_LABELLED: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("network", _pattern(rf"\be?ssid\"?(?:\s*[:=]\s*| )(?P<part>{_QUOTED}|[^\s\"',;]{{2,200}})")),
    ("network", _pattern(rf"\bwi-?fi(?: network)?(?:\s*[:=]\s*)(?P<part>{_WORD})")),
    ("network", _pattern(r"\bwi-?fi network (?P<part>(?!(?:is|was|has|not|un\w+|lost)\b)\S{2,})")),
    (
        "user",
        _pattern(rf"\b(?:user(?:[-_ ]?name)?|login|account|owner)\"?\s*[:=]\s*(?P<part>{_WORD})"),
    ),
    (
        "user",
        _pattern(
            r"\b(?:user|account) (?P<part>[\w.-]{2,})"
            r"(?= (?:logged|signed|connected|authenticated|from|at|on)\b)"
        ),
    ),
    ("user", _pattern(r"\b(?:login|logged in|for user) (?P<part>[\w.-]{2,})(?= (?:from|at)\b)")),
    (
        "host",
        _pattern(rf"\b(?:host(?:[-_ ]?name)?|server|peer|machine)\"?[:=]\s*(?P<part>{_WORD})"),
    ),
    ("host", _pattern(r"\bhostname (?P<part>(?!(?:is|was|has|not|changed)\b)[\w.-]{2,})")),
    ("file", _pattern(rf"\b(?:file(?:[-_ ]?name)?|job|model|part)\"?\s*[:=]\s*(?P<part>{_REST})")),
    (
        "token",
        _pattern(r"\bserial(?: ?(?:number|no\.?))?\"?\s*[:=]?\s*(?P<part>[\w&-]*\d[\w&-]{5,})"),
    ),
    ("text", re.compile(_QUOTED)),
)
_SHAPED: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("user", re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)*")),
    ("user", re.compile(r"(?<![\w@])@[\w-]{2,}")),
    ("path", re.compile(r"(?<![\w.])(?:[A-Za-z]:\\|\\\\)[^\s\"'<>|]+")),
    ("user", re.compile(r"(?<![\w.\\])[\w.-]+\\[\w.-]{2,}")),
    # A part of a path may hold spaces where another part follows.
    (
        "path",
        re.compile(rf"(?<![\w.])~?(?:/(?:{_STEP}(?: {_STEP}){{1,5}}(?=/)|{_STEP}))+/?"),
    ),
    ("file", _pattern(rf"[^\s:;\"'<>,/\\][^:;\"'<>,/\\]*\.(?:{_FILES})\b")),
    ("address", _pattern(r"(?<![\w:])(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}(?![\w:])")),
    ("address", _pattern(r"(?<![\w.])(?:[0-9a-f]{4}\.){2}[0-9a-f]{4}(?![\w.]*\w)")),
    ("address", re.compile(r"(?<![\w.])(?:\d{1,3}\.){3}\d{1,3}(?::\d+)?(?![\w.]*\d)")),
    ("address", re.compile(r"(?<!\d)(?<!\d-)(?:\d{1,3}-){3}\d{1,3}(?!-?\d)")),
    ("address", _pattern(r"(?<![\w:.])[0-9a-f:]*:[0-9a-f:]*:[0-9a-f:.]*(?:%\w+)?")),
    ("host", _pattern(rf"(?<![\w.-])(?:[\w-]{{2,}}\.)+(?:{_DOMAINS})(?![\w.-]*\w)(?::\d+)?")),
    (
        "host",
        _pattern(r"(?<![\w.-])(?:[a-z][\w-]*\.){2,}[a-z][a-z-]+[a-z](?![\w.-]*\w)(?::\d+)?"),
    ),
    ("number", re.compile(r"(?<![\w.])(?:\+\d[\d ()/-]{6,}\d|0\d{2,5}[-/ ]\d{4,})(?![\w.])")),
    ("place", re.compile(r"(?<![\w.])-?\d{1,3}\.\d{4,}, ?-?\d{1,3}\.\d{4,}(?![\w.])")),
    ("token", _pattern(r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b")),
    (
        "token",
        re.compile(
            r"(?<![\w+/=-])(?=[\w+/=-]*\d)(?=[\w+/=-]*[A-Za-z])[\w+/=-]{12,}"
            r"(?:\.[\w+/=-]{4,})*(?![\w+/=-])"
        ),
    ),
)
_COMMAND = re.compile(r"[A-Z]\d{1,4}(?:\.\d+)?(?: [A-Z]-?\d*\.?\d*)*")
"""A machine command, which may stand in quotation marks and is nobody's secret."""


_KEYS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("token", _pattern(rf"{_SECRETS}|cookie|serial(?:[-_]?(?:number|no))?")),
    ("network", _pattern(r"e?ssid|wi-?fi")),
    ("user", _pattern(r"user(?:[-_]?name)?|login|account|owner|e?mail")),
    ("host", _pattern(r"host(?:[-_]?name)?|server|ip|mac")),
    ("file", _pattern(r"file(?:[-_]?name)?|job")),
)


def private_key(key: str) -> str:
    """What is private under a key of JSON, as a kind; empty where that depends on the value."""
    if is_secret_name(key):
        return "token"
    return next((kind for kind, pattern in _KEYS if pattern.fullmatch(key)), "")


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
        # A name may be part of another by an underscore, as in host_2.
        whole = rf"(?<![^\W_])(?:{joined})(?![^\W_])"
        self._exact = re.compile(whole, re.IGNORECASE) if joined else None

    def __call__(self, text: str) -> str:
        """The text without what is private."""
        found = self._kept.get(text)
        if found is None:
            found = self._scrub(text)
            if len(self._kept) < MAX_KEPT:
                self._kept[text] = found
        return found

    def names(self, text: str) -> str:
        """The text without the known strings; what only looks private stays."""
        if self._exact is None:
            return text
        return self._exact.sub(
            lambda found: self._placeholder(self._known[found.group().casefold()], found.group()),
            text,
        )

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
        for kind, pattern in _WITH_WORDS:
            text = pattern.sub(partial(_one, kind=kind, take=take), text)
        if self._exact is not None:
            text = self._exact.sub(
                lambda found: take(self._known[found.group().casefold()], found.group()), text
            )
        for kind, pattern in (*_LABELLED, *_SHAPED):
            text = pattern.sub(partial(self._maybe, kind=kind, take=take), text)
        for number, placeholder in enumerate(taken):
            text = text.replace(chr(0xE000 + number), placeholder)
        return text

    def _maybe(self, found: re.Match[str], kind: str, take: _Take) -> str:
        text = found.group()
        part = found.groupdict().get("part") or text
        bare = part.strip(_MARKS)
        if bare.casefold() in self._public or _COMMAND.fullmatch(bare):
            return text
        if kind == "address" and ":" in text and not _is_address(text):
            return text
        if kind == "address" and re.fullmatch(r"[\d-]+", text) and not _is_dashed(text):
            return text
        if kind == "host" and self._public & set(text.casefold().split(".")):
            # A dotted name of a reading.
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
    """A match, or the `part` of it that is private, replaced; quotation marks stay."""
    text = found.group()
    start, end = found.span("part") if found.groupdict().get("part") else found.span()
    start, end = start - found.start(), end - found.start()
    part = text[start:end]
    if len(part) > 2 and part[0] in _MARKS and part[-1] in _MARKS:
        start, end = start + 1, end - 1
    part = text[start:end].rstrip() or text[start:end]
    end = start + len(part)
    if _TAKEN.fullmatch(part):
        return text
    return text[:start] + take(kind, part) + text[end:]


def _is_dashed(text: str) -> bool:
    """Whether four numbers with dashes may be an address, as host names have it."""
    return all(int(part) < 256 for part in text.split("-"))


def _is_address(text: str) -> bool:
    """Whether a match with colons is more than a time of day or a pair of words."""
    if re.fullmatch(r"(?:[0-9a-f]{2}:){5}[0-9a-f]{2}|[\d.]+:\d+", text, re.IGNORECASE):
        return True
    try:
        ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return False
    return text != "::"
