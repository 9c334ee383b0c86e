"""The report as one HTML page, or as Markdown with pictures beside it."""

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recordings.files import os_error
from recordings.logs import Log
from recordings.report import draw, facts
from recordings.report.choose import Shown, shown_faults
from recordings.report.clip import Beyond
from recordings.report.facts import ReportFacts, lasting, place, words
from recordings.report.gather import gather
from recordings.report.svg import for_file, for_page
from shared.bursts import place_words, places
from shared.events import Check, Event, RankedCause
from shared.placing import place_text
from shared.text import printable
from shared.version import VERSION
from shared.when import dated, spelt
from shared.words import EVERY_CHANNEL

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_EVENTS = 300
"""Rows of the table of events; the worst are kept."""
MOST_CAUSES = 4
LEAST_SHARE = 0.02
"""Causes less likely than this are summed up."""
MOST_LISTED = 12
NEXT = " — next: "
"""Before the name of the check in a verdict's line; here the check is told in full."""

_HERE = Path(__file__).parent / "templates"
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+!|~-])")


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with what stands below it."""

    name: str
    title: str
    caption: str
    alt: str
    svg: str
    beyond: str


@dataclass(frozen=True, slots=True)
class Causes:
    """Ranked causes of one channel; `rest` is the share of those not shown."""

    channel: str
    shown: tuple[RankedCause, ...]
    rest: float


def html(report: ReportFacts, log: Log) -> str:
    """One page that needs nothing else. Reads the log once."""
    figures = _figures(report, log)
    css, script = _text("report.css"), _text("report.js").strip()
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    shown = [_in_page(figure) for figure in figures]
    return (
        _environment(escaped=True)
        .get_template("report.html.j2")
        .render(
            **_context(report),
            timeline=shown[0],
            figures=shown[1:],
            css=css,
            script=script,
            script_hash=digest,
        )
    )


def markdown(report: ReportFacts, log: Log, folder: str) -> tuple[str, dict[str, str]]:
    """The same as Markdown, and the pictures that go into `folder` beside it, by file name."""
    figures = _figures(report, log)
    pictures = {f"{figure.name}.svg": for_file(figure.svg) for figure in figures}
    text = (
        _environment(escaped=False)
        .get_template("report.md.j2")
        .render(**_context(report), timeline=figures[0], figures=figures[1:], folder=folder)
    )
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n", pictures


def write(path: str | Path, report: ReportFacts, log: Log) -> list[Path]:
    """Write the report; `.md` gets its pictures in a folder beside it. Returns what was written.

    Raises BadInput when it cannot be written.
    """
    path = Path(path)
    written: list[Path] = []
    try:
        if path.suffix == ".md":
            folder = path.with_name(f"{path.stem}-pictures")
            text, pictures = markdown(report, log, folder.name)
            folder.mkdir(exist_ok=True)
            for name, svg in pictures.items():
                place_text(folder / name, svg)
                written.append(folder / name)
        else:
            text = html(report, log)
        place_text(path, text)
    except OSError as error:
        raise os_error(path, error) from None
    return [path, *written]


def _figures(report: ReportFacts, log: Log) -> list[Figure]:
    """The timeline first, then one figure for each distinct fault."""
    faults = shown_faults(report.events, report.first_s, report.last_s)
    windows = [shown.window for shown in faults]
    view = gather(log.batches(), report.first_s, report.last_s, windows)
    alt = (
        f"Readings of {', '.join(report.channels) or 'no channel'} over "
        f"{spelt(report.duration_s)}, with {len(report.events)} events in lanes below"
    )
    svg = draw.timeline(view, report.events, report.first_s, report.last_s)
    note = "Bands run from the lowest to the highest reading, so that no spike is lost."
    if view.is_gap.any():
        note += " Hatched: nothing is on record."
    figures = [Figure("timeline", "The whole run", note, alt, svg, "")]
    for number, shown in enumerate(faults, 1):
        channel = shown.event.channel
        if channel == EVERY_CHANNEL:
            channel = next(iter(report.channels), channel)
        svg, beyond, alt = draw.fault(shown.event, channel, shown.window, number)
        kinds = [words(event.kind) for event in (shown.event, *shown.others)]
        title = f"{place(shown.event.channel)}: {', '.join(kinds)}"
        figures.append(
            Figure(f"fault-{number}", title, _captions(shown), alt, svg, _beyond(beyond))
        )
    return figures


def _captions(shown: Shown) -> str:
    return " ".join(_caption(event) for event in (shown.event, *shown.others))


def _caption(event: Event) -> str:
    times = f"{event.count} times, " if event.count > 1 else ""
    tied = f"; with {event.tied_to}" if event.tied_to else ""
    text = event.text[:1].upper() + event.text[1:]
    return f"{text}{tied} ({times}from {dated(event.start_s)}, {lasting(event)})."


def _beyond(found: Sequence[Beyond]) -> str:
    """What was clipped, by its number; one value for all is said once."""
    if not found:
        return ""
    values = {f"{each.value:.6g}" for each in found}
    single = values.pop() if len(values) == 1 else ""
    listed = "; ".join(
        f"{each.number}: {dated(each.time_s)}"
        if single
        else f"{each.number}: {each.value:.6g} at {dated(each.time_s)}"
        for each in found[:MOST_LISTED]
    )
    more = f"; and {len(found) - MOST_LISTED} more" if len(found) > MOST_LISTED else ""
    return f"Beyond the axis{f', at {single}' if single else ''}: {listed}{more}."


def _context(report: ReportFacts) -> dict[str, Any]:
    worst = sorted(report.events, key=lambda event: -event.severity.rank)[:MOST_EVENTS]
    kept = {event.id for event in worst}
    said, _, check = report.verdict.text.partition(NEXT)
    headline, _, besides = said.partition("; ")
    return {
        "report": report,
        "headline": headline,
        "besides": besides,
        "answer": _answer(report.causes, check),
        "causes": _causes(report.causes),
        "events": [event for event in report.events if event.id in kept],
        "events_left": len(report.events) - len(kept),
        "burst": {id_: place_words(place) for id_, place in places(report.events).items()},
        "blind": facts.blind_lines(report.not_evaluated),
        "chains": facts.chain_cards(report),
        "versions": _versions(report),
    }


def _versions(report: ReportFacts) -> list[tuple[str, str]]:
    said = report.meta.get("versions")
    recorded = said if isinstance(said, dict) else {}
    shown = [(f"recorded with {name}", str(version)) for name, version in recorded.items()]
    return [("reported with ohmvigil", VERSION), *shown]


def _answer(causes: Sequence[RankedCause], check: str) -> RankedCause | None:
    """The cause whose check the verdict names."""
    named = (cause for cause in causes if cause.next_check and cause.next_check.name == check)
    return next(named, None)


def _outcomes(check: Check) -> list[tuple[str, str]]:
    """What may be seen in a check, and what it would mean."""
    parts = (part.partition(" → ") for part in check.look_for.split("; "))
    return [(seen.strip(), meaning.strip()) for seen, _, meaning in parts if seen.strip()]


def _sentence(text: str) -> str:
    """Begun with a capital, unless by a name such as a channel's."""
    name, colon, _ = text.partition(":")
    is_name = colon and " " not in name
    return text if is_name else text[:1].upper() + text[1:]


def _causes(causes: Sequence[RankedCause]) -> list[Causes]:
    by_channel: dict[str, list[RankedCause]] = {}
    for cause in causes:
        by_channel.setdefault(cause.channel, []).append(cause)
    found = []
    for channel, ranked in by_channel.items():
        shown = tuple(cause for cause in ranked[:MOST_CAUSES] if cause.probability >= LEAST_SHARE)
        rest = 1.0 - sum(cause.probability for cause in shown)
        found.append(Causes(channel, shown, max(rest, 0.0)))
    return found


def _in_page(figure: Figure) -> Figure:
    from markupsafe import Markup

    svg = Markup(for_page(figure.svg, figure.alt))
    return Figure(figure.name, figure.title, figure.caption, figure.alt, svg, figure.beyond)


@cache
def _environment(*, escaped: bool) -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=escaped,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_said if escaped else _marked_down,
    )
    environment.filters.update(
        dated=dated,
        length=spelt,
        place=place,
        words=words,
        lasting=lasting,
        counted=facts.counted,
        share=_share,
        as_is=Markup,
        outcomes=_outcomes,
        sentence=_sentence,
    )
    return environment


def _share(probability: float) -> str:
    """Whole per cent, never a round 100."""
    return f"{min(round(100.0 * probability), 99)} %"


def _said(value: Any) -> Any:
    """Text for a page: nothing in it turns what stands around it."""
    from markupsafe import Markup

    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _marked_down(value: Any) -> Any:
    """Text for Markdown: nothing in it is markup, a mention or a link."""
    from markupsafe import Markup

    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    value = printable(value)
    value = value.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    value = _MARKDOWN.sub(r"\\\1", value)
    # A word joiner keeps a tracker from notifying people and from linking.
    return value.replace("@", "@\u2060").replace("://", ":\u2060//").replace("www.", "www\u2060.")


def _text(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")
