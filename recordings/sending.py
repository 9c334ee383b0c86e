"""What goes into a bundle: a log's recording written anew without what is private."""

import platform
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from recordings.bringing import bring_batches, store
from recordings.private import Replaced, Scrubber, private_key
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.notes import Note
from shared.updates import Batch
from shared.version import VERSION

FORM = 1
"""Version of the bundle's form."""


def write_clean(
    path: Path,
    batches: Iterable[Batch],
    scrub: Scrubber,
    events: Sequence[Event],
    notes: Sequence[Note],
    meta: Mapping[str, Any],
) -> list[str]:
    """Write the recording; the host's texts that it holds, each once, for review."""
    kept: dict[str, None] = {}

    def cleaned() -> Iterable[Batch]:
        for batch in batches:
            texts = {
                key: [(row, scrub(text)) for row, text in pairs]
                for key, pairs in batch.texts.items()
            }
            for key, pairs in texts.items():
                if not key.endswith((".state", ".flags")):
                    kept.update(dict.fromkeys(text for _, text in pairs if text))
            yield Batch(batch.time_s, batch.numbers, texts)

    recorder = bring_batches(path, cleaned(), meta)
    try:
        for event in events:
            recorder.event(clean_event(event, scrub))
        for note in notes:
            facts = {key: clean_value(value, scrub) for key, value in note.facts.items()}
            recorder.note(note.time_s, scrub(note.text), note.kind, facts)
            kept[scrub(note.text)] = None
        store(recorder)
    finally:
        recorder.close()
    return list(kept)


def clean_event(event: Event, scrub: Scrubber) -> Event:
    facts = {
        key: scrub(value) if isinstance(value, str) else value for key, value in event.facts.items()
    }
    return msgspec.structs.replace(event, text=scrub(event.text), facts=facts)


def clean_cause(cause: RankedCause, scrub: Scrubber) -> RankedCause:
    return msgspec.structs.replace(
        cause,
        evidence_for=tuple(map(scrub, cause.evidence_for)),
        evidence_against=tuple(map(scrub, cause.evidence_against)),
    )


def clean_verdict(verdict: Verdict, scrub: Scrubber) -> Verdict:
    return msgspec.structs.replace(verdict, text=scrub(verdict.text), stop=scrub(verdict.stop))


def clean_blind(blind: NotEvaluated, scrub: Scrubber) -> NotEvaluated:
    return msgspec.structs.replace(blind, why=scrub(blind.why))


def clean_state(state: ChainState, scrub: Scrubber) -> ChainState:
    stages = tuple(msgspec.structs.replace(each, why=scrub(each.why)) for each in state.stages)
    could_not_tell = tuple(map(scrub, state.could_not_tell))
    return msgspec.structs.replace(state, stages=stages, could_not_tell=could_not_tell)


def clean_value(value: Any, scrub: Callable[[str], str]) -> Any:
    """JSON-like values with every text in them scrubbed; keys stay."""
    if isinstance(value, str):
        return scrub(value)
    if isinstance(value, dict):
        return {key: _under(key, each, scrub) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [clean_value(each, scrub) for each in value]
    return value


def _under(key: object, value: Any, scrub: Callable[[str], str]) -> Any:
    """A value by its key: under `password`, any text is a secret. A profile's own keys are not
    meant, whose texts are cleaned by another rule."""
    kind = private_key(str(key))
    if kind and isinstance(value, str) and isinstance(scrub, Scrubber):
        return scrub.whole(value, kind)
    return clean_value(value, scrub)


def clean_profile(profile: Mapping[str, Any], scrub: Scrubber) -> dict[str, Any]:
    """A profile without where the host is, whose it is, and where its secret is kept.

    Pointers into the host's messages look like paths and stay, but for names that are known
    to be private; of a request's JSON, texts are scrubbed and keys stay.
    """

    def cleaned(text: str) -> str:
        if text.startswith("/"):
            return scrub.names(text)
        try:
            request = msgspec.json.decode(text)
        except (msgspec.MsgspecError, ValueError, RecursionError):
            return scrub(text)
        if not isinstance(request, dict | list):
            return scrub(text)
        return msgspec.json.encode(clean_value(request, scrub)).decode()

    found: dict[str, Any] = clean_value(dict(profile), cleaned)
    for key in ("token", "ca_file"):
        found.pop(key, None)
    for key, kind in (("title", "title"), ("addresses", "address")):
        said = profile.get(key)
        if isinstance(said, str):
            found[key] = scrub.whole(said, kind)
        elif isinstance(said, list | tuple):
            found[key] = [scrub.whole(each, kind) for each in said if isinstance(each, str)]
    return found


def known_of(meta: Mapping[str, Any]) -> dict[str, list[str]]:
    """Private strings that a recording itself names: its title, and the hosts of its addresses."""
    known: dict[str, list[str]] = {"title": [], "host": [], "path": []}
    profile = meta.get("profile")
    profile = profile if isinstance(profile, dict) else {}
    for title in (meta.get("title"), profile.get("title"), meta.get("imported_from")):
        if isinstance(title, str):
            known["title"].append(title)
    addresses = profile.get("addresses")
    for address in addresses if isinstance(addresses, list) else []:
        if isinstance(address, str):
            rest = address.partition("://")[2].partition("/")[0].rpartition("@")[2]
            host = rest.rpartition(":")[0] if ":" in rest else rest
            known["host"] += [host, host.partition(".")[0]]
    return known


def about(
    cut: str,
    meta: Mapping[str, Any],
    span_s: tuple[float, float],
    starts: Sequence[float],
) -> dict[str, Any]:
    """What a bundle says of itself; `starts`: of its stretches, empty where it is one."""
    versions = meta.get("versions")
    return {
        "form": FORM,
        "cut": cut,
        "first_s": span_s[0],
        "last_s": span_s[1],
        "starts": list(starts),
        "raw_messages": "left out",
        "versions": {"ohmvigil": VERSION, "python": platform.python_version()},
        "recorded_with": versions if isinstance(versions, dict) else {},
    }


def review(replaced: Iterable[Replaced], kept: Iterable[str]) -> str:
    """What was replaced, without the originals, and the texts that are in the bundle."""
    lines = ["Replaced (placeholder, length of the original, how often):"]
    lines += [
        f"  {each.placeholder}  {len(each.original)} characters, {each.times} times"
        for each in replaced
    ]
    lines = lines if len(lines) > 1 else ["Nothing had to be replaced."]
    texts = [f"  {text}" for text in kept]
    lines += ["", "Texts of the host and notes that are in this bundle:", *(texts or ["  none"])]
    return "\n".join(lines) + "\n"
