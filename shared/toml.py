"""TOML files into structs, with errors that name file, line and key.

    host.toml:8: channels.nozzle.chain.wirs: unknown key; did you mean 'wires'?

`tomllib` gives no line numbers for keys and `msgspec` none at all, so the lines are
found in the text afterwards, only when there is something to complain about.
"""

import difflib
import math
import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from msgspec import inspect as types

from shared.errors import BadInput
from shared.reading import opened
from shared.text import clean

T = TypeVar("T")
Keys = tuple[str | int, ...]
"""Way to a value: keys of tables, indices of arrays (from 0)."""

MAX_BYTES = 1 << 20
_BARE = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_DOTTED = re.compile(rf"\s*({_BARE}(?:\s*\.\s*{_BARE})*)\s*")
_PART = re.compile(_BARE)
_STEP = re.compile(r"\.([^.\[\]]+)|\[(\d+)\]|(\[\.\.\.\])")
_LONG = re.compile(r"[0-9a-zA-Z_]{1000}")
_AT_LINE = re.compile(r" \(at line (\d+), column \d+\)$")
_QUOTED = re.compile(r"`([^`]*)`")


def load(path: str | Path, kind: type[T]) -> T:
    """Read a TOML file as a msgspec struct. BadInput for all that is wrong with it.

    Numbers must be finite: TOML's nan and inf are refused.
    """
    return loads(read_text(path), kind, str(path))


def loads(text: str, kind: type[T], name: str) -> T:
    """Same for text that is at hand; `name` stands for the file in errors."""
    document = _parsed(text, name)
    for keys, value in _leaves(document, ()):
        if isinstance(value, float) and not math.isfinite(value):
            raise fault(text, name, keys, f"{value} is not a finite number", "give a number")
    try:
        return msgspec.convert(document, kind)
    except msgspec.ValidationError as error:
        message, steps = _split(str(error))
        keys = _named(document, kind, steps, message)
        raise _explained(text, name, kind, document, keys, message) from None


def read_text(path: str | Path) -> str:
    """Text of a small UTF-8 file; BadInput when it can't be read."""
    try:
        with opened(path) as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "cannot be read").lower()
        raise BadInput(str(path), reason, "give the path of a readable TOML file") from None
    if len(data) > MAX_BYTES:
        raise BadInput(str(path), "larger than 1 MiB", "give a TOML file")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise BadInput(f"{path}:{line}", "not UTF-8 text", "give a TOML file in UTF-8") from None


def place(path: str | Path, keys: Sequence[str | int]) -> str:
    """`file:line: dotted.key` of a value in a TOML file, for checks that come after `load`."""
    return _place(read_text(path), str(path), tuple(keys))


def fault(text: str, name: str, keys: Sequence[str | int], what: str, do: str) -> BadInput:
    """Error at a value of TOML text."""
    return BadInput(_place(text, name, tuple(keys)), what, do)


def meant(word: str, known: Sequence[str]) -> str:
    """Advice for a word that is not among the known ones: the nearest, else a list."""
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if near:
        return f"did you mean '{near[0]}'?"
    return "known: " + ", ".join(known) if known else "remove it"


def keys_at(text: str, keys: Keys) -> tuple[str, ...]:
    """Names that stand in a table of TOML text that is known to be whole, sorted."""
    table: Any = tomllib.loads(text)
    for key in keys:
        table = table[key]
    return tuple(sorted(table))


def line_of(text: str, keys: Keys) -> int:
    """Line, from 1, on which a value stands; the nearest parent's where it has none of its own."""
    lines = dict(_lines(text))
    while keys and keys not in lines:
        keys = keys[:-1]
    return lines.get(keys, 1)


def dotted(keys: Keys) -> str:
    """`a.b[0].c`"""
    parts = [f"[{key}]" if isinstance(key, int) else f".{clean(key)}" for key in keys]
    return "".join(parts).removeprefix(".")


def _place(text: str, name: str, keys: Keys) -> str:
    where = f"{name}:{line_of(text, keys)}"
    return f"{where}: {dotted(keys)}" if keys else where


def _parsed(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        found = _AT_LINE.search(message)
        line = int(found[1]) if found else text.count("\n") + 1
        what = clean(_AT_LINE.sub("", message).removesuffix(" (at end of document)"))
        do = "correct the TOML on this line"
        raise BadInput(f"{name}:{line}", what[:1].lower() + what[1:], do) from None
    except ValueError:
        # Python turns no text of thousands of digits into a whole number.
        line = next((n for n, row in enumerate(text.splitlines(), 1) if _LONG.search(row)), 1)
        raise BadInput(f"{name}:{line}", "a number is too long", "write a shorter one") from None
    except RecursionError:
        raise BadInput(name, "nested too deeply", "give a flatter TOML file") from None


def _leaves(value: Any, keys: Keys) -> Iterator[tuple[Keys, Any]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, (*keys, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _leaves(item, (*keys, index))
    else:
        yield keys, value


def _split(message: str) -> tuple[str, list[str | int | None]]:
    """Message without its path, and the path; None stands for a key msgspec does not name."""
    message, _, path = message.partition(" - at `")
    steps: list[str | int | None] = []
    for name, index, _unnamed in _STEP.findall(path.removeprefix("key in `").rstrip("`")):
        steps.append(name if name else int(index) if index else None)
    return message, steps


def _named(document: Any, kind: Any, steps: list[str | int | None], message: str) -> Keys:
    """The path with its unnamed keys found: that key alone gives the same error."""
    unnamed, steps = steps, list(steps)
    while None in steps:
        hole = steps.index(None)
        before = steps[:hole]
        for key in list(_at(document, before)):
            trial = _only(document, before, key)
            try:
                msgspec.convert(trial, kind)
            except msgspec.ValidationError as error:
                if _split(str(error)) == (message, unnamed):
                    steps[hole] = key
                    break
        else:
            steps = before
    return tuple(step for step in steps if step is not None)


def _at(document: Any, steps: Sequence[str | int | None]) -> Any:
    for step in steps:
        document = document[step]
    return document


def _only(value: Any, steps: Sequence[str | int | None], key: str) -> Any:
    """Copy of a document in which the table at `steps` keeps only `key`."""
    if not steps:
        return {key: value[key]}
    copied = value.copy()
    copied[steps[0]] = _only(value[steps[0]], steps[1:], key)
    return copied


def _explained(
    text: str, name: str, kind: Any, document: Any, keys: Keys, message: str
) -> BadInput:
    expected = _type_at(types.type_info(kind), document, keys)
    quoted = _QUOTED.findall(message)
    if message.startswith("Object contains unknown field") and quoted:
        known = [field.encode_name for field in _fields(expected)]
        return fault(text, name, (*keys, quoted[0]), "unknown key", meant(quoted[0], known))
    if message.startswith("Object missing required field") and quoted:
        return fault(text, name, keys, f"key '{quoted[0]}' is missing", "add it")
    value = _at(document, keys)
    choices = _choices(expected) or _tags(_type_at(types.type_info(kind), {}, keys[:-1]), keys)
    if choices and not isinstance(value, dict | list):
        what = f"{clean(str(value))!r} is not allowed"
        return fault(text, name, keys, what, meant(str(value), choices))
    what = clean(message.replace("`", "'").replace("'object'", "a table"))
    return fault(text, name, keys, what[:1].lower() + what[1:], "correct the value")


def _type_at(kind: types.Type, document: Any, keys: Keys) -> types.Type | None:
    """Type of a value; where structs are told apart by a tag, the document's tag chooses."""
    for key in keys:
        kind = _tagged(kind, document)
        found = [t for t in (_inner(one, key) for one in _members(kind)) if t is not None]
        if not found:
            return None
        kind = found[0]
        inside = isinstance(document, dict) and key in document
        document = document[key] if inside or isinstance(document, list) else None
    return _tagged(kind, document)


def _tagged(kind: types.Type, value: Any) -> types.Type:
    for one in _members(kind):
        if not isinstance(one, types.StructType) or one.tag is None:
            continue
        if isinstance(value, dict) and value.get(one.tag_field) == one.tag:
            return one
    return kind


def _tags(kind: types.Type | None, keys: Keys) -> list[str]:
    """Tags that tell structs apart, when the last key is the tag's."""
    structs = [one for one in _members(kind) if isinstance(one, types.StructType)]
    return [str(one.tag) for one in structs if keys and one.tag_field == keys[-1]]


def _inner(kind: types.Type, key: str | int) -> types.Type | None:
    if isinstance(kind, types.DictType):
        return kind.value_type
    if isinstance(kind, types.ListType | types.VarTupleType):
        return kind.item_type
    if isinstance(kind, types.TupleType) and isinstance(key, int):
        return kind.item_types[key] if key < len(kind.item_types) else None
    return next((f.type for f in _fields(kind) if f.encode_name == key), None)


def _members(kind: types.Type | None) -> tuple[types.Type, ...]:
    if kind is None:
        return ()
    return kind.types if isinstance(kind, types.UnionType) else (kind,)


def _fields(kind: types.Type | None) -> tuple[types.Field, ...]:
    structs = [one for one in _members(kind) if isinstance(one, types.StructType)]
    return structs[0].fields if structs else ()


def _choices(kind: types.Type | None) -> list[str]:
    found: list[str] = []
    for one in _members(kind):
        if isinstance(one, types.LiteralType):
            found += [str(value) for value in one.values]
        elif isinstance(one, types.EnumType):
            found += [str(member.value) for member in one.cls]
        elif not isinstance(one, types.NoneType):
            return []
    return found


def _lines(text: str) -> Iterator[tuple[Keys, int]]:
    """Each key and table header of TOML text that is known to parse, with its line."""
    counts: dict[Keys, int] = {}
    prefix: Keys = ()
    open_string, depth = "", 0
    for number, line in enumerate(text.split("\n"), start=1):
        rest = line
        if not open_string and not depth:
            header = line.strip()
            if header.startswith("["):
                is_array = header.startswith("[[")
                found = _DOTTED.match(header.lstrip("["))
                if found:
                    prefix = _table(_parts(found[1]), is_array, counts)
                    yield prefix, number
                continue
            found = _DOTTED.match(line)
            if not found or line[found.end() : found.end() + 1] != "=":
                continue
            yield prefix + _parts(found[1]), number
            rest = line[found.end() + 1 :]
        open_string, depth = _scan(rest, open_string, depth)


def _parts(key: str) -> tuple[str, ...]:
    return tuple(
        part[1:-1]
        if part[0] == "'"
        else str(tomllib.loads(f"k = {part}")["k"])
        if part[0] == '"'
        else part
        for part in _PART.findall(key)
    )


def _table(parts: tuple[str, ...], is_array: bool, counts: dict[Keys, int]) -> Keys:
    keys: Keys = ()
    for place_, part in enumerate(parts):
        keys = (*keys, part)
        if is_array and place_ == len(parts) - 1:
            counts[keys] = counts.get(keys, 0) + 1
        if keys in counts:
            keys = (*keys, counts[keys] - 1)
    return keys


def _scan(rest: str, open_string: str, depth: int) -> tuple[str, int]:
    """Whether a string or bracket is still open at the end of a line."""
    at = 0
    while at < len(rest):
        char = rest[at]
        if open_string:
            if char == "\\" and open_string[0] == '"':
                at += 2
                continue
            if rest.startswith(open_string, at):
                at += len(open_string)
                open_string = ""
                continue
        elif char == "#":
            break
        elif char in "\"'":
            open_string = char * 3 if rest.startswith(char * 3, at) else char
            at += len(open_string)
            continue
        else:
            depth += (char in "[{") - (char in "]}")
        at += 1
    return open_string if len(open_string) == 3 else "", depth
