"""Patterns for a host's messages: regular expressions that no text can make slow.

A pattern is searched for anywhere in a message, without regard to case. Of Python's
`re` it may use literals, `.`, classes in brackets, `\\d \\w \\s` and `\\b`, `^ $`, groups
with `|`, and `? * + {m,n}` after a single character or class. It may not repeat a
group, refer back or look around, and it may have at most `MAX_REPEATS` of `* + {}`.
A message has at most `shared.text.MAX_TEXT` characters, which bounds the work.
"""

import re

MAX_REPEATS = 2
MAX_OPTIONAL = 8
MAX_PATTERN = 200

_TOKEN = re.compile(r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|\(\?|\)[*+?{]|[*+]|\?|\{|.", re.DOTALL)


def compiled(pattern: str) -> re.Pattern[str]:
    """Compile a pattern; ValueError says what is not allowed."""
    if not pattern or len(pattern) > MAX_PATTERN:
        raise ValueError(f"a pattern has 1 to {MAX_PATTERN} characters")
    repeats = optional = 0
    for token in _TOKEN.findall(pattern):
        if token == "(?":
            raise ValueError("'(?' is not allowed in a pattern")
        if token[0] == ")" and len(token) == 2:
            raise ValueError("a group may not be repeated in a pattern")
        if token[0] == "\\" and token[1].isdigit():
            raise ValueError("a pattern may not refer back to a group")
        repeats += token in ("*", "+", "{")
        optional += token == "?"
    if repeats > MAX_REPEATS or optional > MAX_OPTIONAL:
        raise ValueError(f"a pattern may have {MAX_REPEATS} of '* + {{', {MAX_OPTIONAL} of '?'")
    try:
        return re.compile(pattern, re.IGNORECASE)
    except (re.error, OverflowError, RecursionError) as error:
        raise ValueError(f"not a pattern: {error}") from None
