"""The report: what it shows, that nothing a host says is markup, that no spike is hidden."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any, ClassVar
from xml.etree import ElementTree

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from recordings.report import page
from recordings.report.choose import shown_faults
from recordings.report.clip import axis_range, beyond
from recordings.report.facts import ReportFacts
from recordings.report.gather import COLUMNS, ReportLine, ReportWindow, gather, thinned
from shared.chain import Chain
from shared.events import Check, Event, NotEvaluated, RankedCause, Verdict
from shared.notes import Note
from shared.updates import Batch
from shared.words import Cause, Kind, Severity
from tests.recordings.logs import finding, grouped, logs

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)> $\\frac{1}{0}$ & {{7*7}} @all"
OPEN_C = 889.65


class MadeUp:
    """A log of two channels: a hold at 210 °C with opens, a quiet one, and a gap."""

    path = Path("night.ohmv")
    keys: tuple[str, ...] = ()
    channels = ("nozzle", "bed")
    unknown: tuple[str, ...] = ()
    duration_s = 600.0
    samples = 9600
    chains: ClassVar[dict[str, Chain]] = {}
    notes: tuple[Note, ...] = ()
    meta: ClassVar[dict[str, Any]] = {}

    def __init__(self, opens: tuple[float, ...] = (200.0, 210.0, 230.0)) -> None:
        rng = np.random.default_rng(3)
        time_s = np.arange(0.0, 600.0, 0.25)
        time_s = time_s[(time_s < 400.0) | (time_s > 440.0)]
        nozzle = 210.0 + 0.2 * rng.standard_normal(len(time_s))
        for at_s in opens:
            nozzle[np.searchsorted(time_s, at_s)] = OPEN_C
        self.batch = Batch(
            time_s,
            {
                "nozzle.temperature_c": nozzle,
                "nozzle.target_c": np.where(time_s == 0.0, 210.0, np.nan),
                "nozzle.power": np.full(len(time_s), 0.4),
                "bed.temperature_c": 60.0 + 0.1 * rng.standard_normal(len(time_s)),
                "motion.speed_mm_s": np.full(len(time_s), 80.0),
            },
        )

    def batches(self) -> Iterator[Batch]:
        yield self.batch.cut(0, 777)
        yield self.batch.cut(777, len(self.batch))

    def close(self) -> None: ...


CHECK = Check(
    name="wiggle-cable",
    do=f"Move the cable {HOSTILE}",
    look_for="a jump",
    effort_min=3.0,
    caution="Unplug first.",
)


def report(**more: Any) -> ReportFacts:
    """A report in which every text is hostile."""
    cause = RankedCause(
        channel="nozzle",
        cause=Cause.LOOSE_CONNECTION,
        probability=0.71,
        evidence_for=(f"for {HOSTILE}",),
        evidence_against=(f"against {HOSTILE}",),
        next_check=CHECK,
    )
    plain: dict[str, Any] = {
        "title": f"Title {HOSTILE}",
        "source": f"name {HOSTILE}",
        "first_s": 0.0,
        "duration_s": 600.0,
        "samples": 9600,
        "channels": ("nozzle", "bed"),
        "verdict": Verdict(severity=Severity.FAILURE, text=f"Verdict {HOSTILE}"),
        "events": (finding(1, 3, start_s=200.0, end_s=231.0, text=f"Event {HOSTILE}"),),
        "causes": (cause,),
        "trial_lines": (f"trials: nozzle {HOSTILE}",),
        "not_evaluated": (
            NotEvaluated(kind=Kind.FROZEN, channel="bed", why=f"too quiet {HOSTILE}"),
        ),
        "assumed": (f"assumed {HOSTILE}",),
        "chains": {"nozzle": Chain()},
        "notes": (
            Note(12.0, f"Note {HOSTILE}"),
            Note(13.0, f"Trial {HOSTILE}", "trial", {"channel": HOSTILE}),
        ),
        "meta": {"versions": {"ohmvigil": f"0 {HOSTILE}"}},
    }
    return ReportFacts(**(plain | more))


class Tags(HTMLParser):
    """Elements, attributes and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(text: str) -> Tags:
    tags = Tags()
    tags.feed(text)
    return tags


@pytest.fixture(scope="module")
def html() -> str:
    return page.html(report(), MadeUp())


def test_nothing_that_a_host_says_becomes_markup(html: str) -> None:
    """One script, of ours; no image, no handler; the hostile text stands to be read."""
    tags = read(html)
    names = [name for name, _ in tags.elements]
    assert names.count("script") == 1
    assert "img" not in names
    assert "iframe" not in names
    handlers = [key for _, attrs in tags.elements for key in attrs if key.startswith("on")]
    assert handlers == []
    assert "".join(tags.text).count("alert(1)</script>") >= 10
    assert "49" not in re.findall(r"Verdict.*", "".join(tags.text))[0]


def test_the_page_needs_no_network(html: str) -> None:
    """No address is loaded: every reference is within the page or data."""
    for name, attrs in read(html).elements:
        for key in ("src", "href", "xlink:href", "srcset", "action", "data"):
            value = attrs.get(key)
            assert value is None or value.startswith(("#", "data:")), (name, key, value)
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_ids_are_used_once_and_references_lead_somewhere(html: str) -> None:
    """Several figures stand in one page; their parts may not be mixed up."""
    elements = read(html).elements
    ids = [attrs["id"] for _, attrs in elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', html))
    assert {a or b for a, b in wanted} <= set(ids)
    for _, attrs in elements:
        label = attrs.get("aria-labelledby")
        assert label is None or label in ids


def test_headings_go_down_one_level_at_a_time(html: str) -> None:
    levels = [int(name[1]) for name, _ in read(html).elements if re.fullmatch("h[1-6]", name)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_every_figure_is_told_in_words(html: str) -> None:
    drawn = [attrs for name, attrs in read(html).elements if name == "svg"]
    figures = [attrs for attrs in drawn if attrs.get("role") == "img"]
    assert len(figures) == 2
    assert all(attrs["aria-label"] for attrs in figures)
    assert all(attrs.get("aria-hidden") == "true" for attrs in drawn if attrs not in figures)


def test_the_verdict_comes_first_and_cautions_are_there(html: str) -> None:
    """The answer and the next check come first, then what happened, then how it was measured."""
    order = ["verdict", "run", "causes", "faults", "events", "chain", "trials", "notes", "versions"]
    places = [html.index(f'id="{name}"') for name in order]
    assert places == sorted(places)
    assert "Unplug first." in html
    assert "it is no safety device" in html


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
    (published)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    a, b = sorted((luminance(one), luminance(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


def test_contrast_is_what_wcag_asks_for_in_light_dark_and_print(html: str) -> None:
    """4.5 to 1 for text, 2.0 to 1 at least for lines, which bear their names at their ends.

    WCAG 2.2, success criterion 1.4.3 (published): 4.5 to 1 for text of this size. Lines of
    Okabe and Ito's colours fall short of 3 to 1 on white, so each has its name beside it.
    """
    blocks = re.findall(r":root \{(.*?)\}", html, re.DOTALL)
    assert len(blocks) == 3
    for block in blocks:
        colours = dict(re.findall(r"--([\w-]+): (#[0-9a-fA-F]{6})", block))
        for text in ("ink", "muted", "alarm-ink", "warn", "calm"):
            for back in ("paper", "card"):
                assert contrast(colours[text], colours[back]) >= 4.5, (text, back)
        for number in range(1, 7):
            assert contrast(colours[f"series-{number}"], colours["card"]) >= 2.0


def test_the_reference_pairs_of_contrast() -> None:
    """Black on white is 21 to 1, and #767676 the known lightest grey at 4.5 (published)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


def test_a_stretch_without_a_record_is_told_in_words(html: str) -> None:
    """The made-up log has one."""
    assert "Hatched: nothing is on record." in html


def test_the_same_facts_give_the_same_page(html: str) -> None:
    assert page.html(report(), MadeUp()) == html


def test_markdown_says_the_same_and_shows_pictures(tmp_path: Path) -> None:
    log = MadeUp()
    written = page.write(tmp_path / "a b.md", report(), log)
    text = (tmp_path / "a b.md").read_text(encoding="utf-8")
    names = re.findall(r"!\[.*?\]\((.*?)\)", text)
    assert len(names) == 2
    for name in names:
        path = tmp_path / name.replace("%20", " ")
        assert path in written
        root = ElementTree.parse(path).getroot()
        assert root.tag.endswith("svg")
    for said in ("loose connection", "71 %", "contact break", "Unplug first", "402 Ω", "too quiet"):
        assert said in text


def test_what_trials_have_shown_stands_below_the_changes() -> None:
    """Counts, hours and outcome, in both forms of the report."""
    lines = ("trials: nozzle contact-break, hours moving", "  1 tightened: 0 in 26 min; better")
    facts = report(trial_lines=lines)
    for text in (page.html(facts, MadeUp()), page.markdown(facts, MadeUp(), "p")[0]):
        assert "1 tightened: 0 in 26 min; better" in text
        assert text.index("Trials") < text.index("0 in 26 min")


def test_no_text_of_a_host_is_markup_in_markdown() -> None:
    """No tag opens, no link is made, no table cell ends early, nobody is notified."""
    text, _ = page.markdown(report(source="a | b [x](http://x.example) `c` @jane"), MadeUp(), "p")
    assert "<script" not in text
    assert "<img" not in text
    assert "](http" not in text
    assert "@jane" not in text
    assert "http://" not in text
    rows = [line for line in text.splitlines() if line.startswith("| 0:")]
    assert all(len(re.findall(r"(?<!\\)\|", row)) == 8 for row in rows)
    assert rows


def test_pictures_of_both_kinds_are_wellformed_whatever_is_said() -> None:
    name = "no<z>le & $x$"
    facts = report(channels=(name,), events=(finding(1, channel=name, start_s=10.0, end_s=20.0),))
    log = MadeUp()
    log.batch = Batch(
        log.batch.time_s, {f"{name}.temperature_c": log.batch.numbers["bed.temperature_c"]}
    )
    _, pictures = page.markdown(facts, log, "p")
    for svg in pictures.values():
        ElementTree.fromstring(svg)


def test_a_log_without_anything_still_has_a_report() -> None:
    class Empty(MadeUp):
        def batches(self) -> Iterator[Batch]:
            return iter(())

    quiet = Verdict(severity=Severity.NOTICE, text="nothing to judge")
    facts = report(events=(), causes=(), channels=(), duration_s=0.0, samples=0, verdict=quiet)
    assert "Nothing to judge" in page.html(facts, Empty())


@pytest.mark.parametrize("scale", [1e300, 1e17, 1e-300])
def test_absurd_times_and_values_are_drawn_without_a_word(scale: float) -> None:
    """Warnings are errors in these tests: nothing is printed, and the picture is well-formed."""
    log = MadeUp()
    numbers = {"nozzle.temperature_c": log.batch.numbers["nozzle.temperature_c"] * scale}
    log.batch = Batch(log.batch.time_s * scale, numbers)
    facts = report(first_s=0.0, duration_s=600.0 * scale)
    for svg in page.markdown(facts, log, "p")[1].values():
        ElementTree.fromstring(svg)


def test_single_samples_are_seen_in_the_overview_of_any_length() -> None:
    """A spike of one sample is the highest of its column, whatever else is there."""
    log = MadeUp(opens=(123.0, 333.25, 599.75))
    view = gather(log.batches(), 0.0, 600.0, ())
    high = view.high["nozzle.temperature_c"]
    assert np.count_nonzero(high == OPEN_C) == 3
    assert view.time_s.shape == (COLUMNS,)


@given(logs(), st.lists(st.integers(0, 30), max_size=4))
def test_the_overview_keeps_lowest_and_highest_however_a_log_is_cut(
    log: list[Any], cuts: list[int]
) -> None:
    view = gather(grouped(log, cuts), log[0].time_s, log[-1].time_s, ())
    said = [u.values["nozzle.temperature_c"] for u in log if "nozzle.temperature_c" in u.values]
    if said:
        assert np.nanmax(view.high["nozzle.temperature_c"]) == max(said)
        assert np.nanmin(view.low["nozzle.temperature_c"]) == min(said)


@given(st.integers(1, 5000), st.integers(4, 400), st.integers(0, 10_000))
def test_thinning_a_line_keeps_every_extreme(size: int, most: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    time_s, value = np.arange(size, dtype=float), rng.standard_normal(size)
    kept_s, kept = thinned(time_s, value, most)
    assert kept.max() == value.max()
    assert kept.min() == value.min()
    assert (np.diff(kept_s) > 0).all()
    assert len(kept) <= most


def test_a_window_knows_what_held_before_it_and_where_the_log_is_silent() -> None:
    log = MadeUp()
    window = ReportWindow(380.0, 460.0)
    gather(log.batches(), 0.0, 600.0, [window])
    assert window.before["nozzle.target_c"] == 210.0
    line = window.lines["nozzle.temperature_c"]
    silent = line.time_s[np.isnan(line.value)]
    assert silent.tolist() == [399.75]
    assert line.time_s.min() >= 380.0
    assert line.time_s.max() <= 460.0


def test_an_open_circuit_is_clipped_and_numbered_and_the_hold_fills_the_axis() -> None:
    log = MadeUp()
    line = ReportLine(log.batch.time_s, log.batch.numbers["nozzle.temperature_c"])
    low, high = axis_range([(line.value, line.value)], 4.0, 3.0)
    assert 200.0 < low < 209.0
    assert 211.0 < high < 240.0
    found = beyond(line, low, high)
    assert [(each.number, each.time_s, each.value) for each in found] == [
        (1, 200.0, OPEN_C),
        (2, 210.0, OPEN_C),
        (3, 230.0, OPEN_C),
    ]


def test_a_heat_up_is_no_excursion() -> None:
    """Eleven cold hours and one hot: the hot one is heat and must be seen."""
    rise = np.concatenate(
        [np.full(11_000, 24.0), np.linspace(24.0, 250.0, 300), np.full(700, 250.0)]
    )
    low, high = axis_range([(rise, rise)], 4.0, 1.6)
    assert low < 24.0
    assert high > 250.0


def test_a_lasting_open_circuit_is_shown_at_full_height() -> None:
    """Most of the log is open: that is what there is to see."""
    value = np.concatenate([np.full(100, 24.0), np.full(900, OPEN_C)])
    assert axis_range([(value, value)], 4.0, 3.0)[1] > OPEN_C


def test_faults_seen_in_one_figure_share_it_and_notices_get_none() -> None:
    open_, code = finding(1, 9, start_s=100.0, end_s=130.0), finding(2, start_s=101.0, end_s=102.0)
    code = event_of(code, kind=Kind.CODE_HIGH)
    other = event_of(finding(3, start_s=102.0, end_s=103.0), channel="bed")
    notice = event_of(
        finding(4, start_s=5.0, end_s=6.0), severity=Severity.NOTICE, kind=Kind.RESTART
    )
    shown = shown_faults([open_, code, other, notice], 0.0, 600.0)
    assert [(each.event.id, [o.id for o in each.others]) for each in shown] == [(1, [2]), (3, [])]
    assert (shown[0].window.start_s, shown[0].window.end_s) == (40.0, 190.0)
    assert [each.event.id for each in shown_faults([notice], 0.0, 600.0)] == [4]


def event_of(event: Event, **more: Any) -> Event:
    return msgspec.structs.replace(event, **more)


def test_a_long_chatter_shows_its_beginning() -> None:
    """Hours of it are not drawn; ten minutes and a margin are."""
    shown = shown_faults([finding(1, start_s=1000.0, end_s=None)], 0.0, 40_000.0)
    assert (shown[0].window.start_s, shown[0].window.end_s) == (940.0, 1660.0)


def test_hundreds_of_events_are_a_table_of_the_worst() -> None:
    mild = [
        event_of(finding(n, start_s=float(n), end_s=n + 0.5), severity=Severity.NOTICE)
        for n in range(400)
    ]
    facts = replace(report(), events=(*mild, finding(999, start_s=500.0, end_s=501.0)))
    text = page.html(facts, MadeUp())
    rows = re.findall(r'<tr class="([\w-]+)">', text)
    assert len(rows) == page.MOST_EVENTS
    assert rows.count("failure") == 1
    assert "101 milder events are left out" in text


def test_a_markdown_reader_shows_it_as_meant(tmp_path: Path) -> None:
    """CommonMark with tables, as markdown-it reads it: headings in order, the answer first, whole
    tables, pictures with words and a file beside it, and nothing that is raw HTML or a link."""
    check = next(cause.next_check for cause in report().causes if cause.next_check)
    words = f"nozzle: loose connection — next: {check.name}"
    facts = report(verdict=Verdict(severity=Severity.FAILURE, text=words))
    text, pictures = page.markdown(facts, MadeUp(), "a-pictures")
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    levels = [int(token.tag[1]) for token in tokens if token.type == "heading_open"]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    inline = [child for token in tokens for child in token.children or ()]
    assert not [
        t for t in (*tokens, *inline) if t.type in ("html_block", "html_inline", "link_open")
    ]
    shown = [child for child in inline if child.type == "image"]
    assert [image.attrs["src"] for image in shown] == [f"a-pictures/{name}" for name in pictures]
    assert all(image.content for image in shown)
    cells = [sum(t.type in ("th_open", "td_open") for t in row) for row in _rows(tokens)]
    assert len(cells) == 1 + len(report().events)
    assert set(cells) == {7}
    first = next(at for at, token in enumerate(tokens) if token.type == "blockquote_open")
    asked = next(at for at, token in enumerate(tokens) if "Next check" in token.content)
    run = next(at for at, token in enumerate(tokens) if token.content == "The whole run")
    assert first < asked < run


def _rows(tokens: Sequence[Token]) -> list[list[Token]]:
    starts = [at for at, token in enumerate(tokens) if token.type == "tr_open"]
    ends = [at for at, token in enumerate(tokens) if token.type == "tr_close"]
    return [list(tokens[a:b]) for a, b in zip(starts, ends, strict=True)]
