"""docs/quality.md: what the bench found, with its command and date."""

import platform
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

from detectors.diagnosis.rank import TEMPERATURE
from shared.version import VERSION
from tests.quality import diagnosis
from tests.quality.cases import MINIMA
from tests.quality.hosts import Played
from tests.quality.intervals import rate_interval, share_interval
from tests.quality.links import figures as links
from tests.quality.outsiders import OUTSIDERS
from tests.quality.work import OURS, Key, Result, Tally

if TYPE_CHECKING:
    from tests.quality.full import Findings

LEAST_RECALL, MOST_PER_100_H = 0.97, 1.0
PER_H = 100.0
LINKS = {"stale", "link-loss", "restart", "halt", "converter-flag"}
"""Faults that no column of degrees can show: the outsiders are not asked."""


def page(found: "Findings", command: str, diagram: str | None) -> str:
    """The page as Markdown; `diagram` is the file name of the reliability diagram."""
    parts: list[Iterable[str]] = [
        _head(found, command),
        _recall(found),
        _healthy(found),
        _scenarios(found.played),
    ]
    parts += [_confusion(found.faults), _outsiders(found), _diagnosis(found, diagram)]
    parts += [links.section(found.links), _LIMITS]
    text = "\n\n".join("\n".join(line.rstrip() for line in part) for part in parts)
    return f"{text}\n"


def _head(found: "Findings", command: str) -> Iterator[str]:
    sizes = found.sizes
    yield "# How good the detectors and the diagnosis are"
    yield ""
    yield f"Made by `{command}` on {time.strftime('%Y-%m-%d', time.gmtime())} with ohmvigil "
    yield f"{VERSION}, Python {platform.python_version()}, NumPy {version('numpy')}, in "
    yield f"{found.took_s / 60.0:.0f} min. All figures are of reporting seeds; limits and tables "
    yield "were tuned on others. Intervals are exact, 95 %: Clopper and Pearson's for shares, "
    yield "Garwood's for rates. Nothing here was measured on a real printer."
    yield "Other worlds and real sensors are in [worlds.md](worlds.md), with more false alarms."
    yield ""
    yield "Logs come from two simulations that share no code: plain lumped heaters "
    yield "(`tests/quality/plant.py`) and the simulated host. Both draw what no test fixes: "
    yield "noise and its colour, sensor lag, element and wires, period 0.25 to 1 s, rounding, with "
    yield "codes or degrees only, whole or changed-only updates; the host also jumping clocks. "
    yield f"{sizes.cases} logs of half an hour for each fault, each drawn from its documented "
    yield "minimum upward."


def _recall(found: "Findings") -> Iterator[str]:
    yield "## Found"
    yield ""
    yield f"Asked: recall ≥ {LEAST_RECALL}. Delay: from the fault's beginning to the moment it "
    yield "was told, fed row by row as live; median and nine in ten. For kinds that need a "
    yield "stretch of time, that stretch is the delay."
    yield ""
    yield "| fault | least size | found | recall | exact 95 % | delay, s | 9 in 10 within, s |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for name, result in found.faults.items():
        score = result.score
        low, high = share_interval(score.found, score.labels)
        recall = score.found / max(score.labels, 1)
        mark = "" if recall >= LEAST_RECALL else " **below**"
        delays = sorted(score.delays)
        middle, most = (_quantile(delays, 0.5), _quantile(delays, 0.9)) if delays else ("–", "–")
        least = next((words for kind, words in MINIMA.items() if name.startswith(str(kind))), "any")
        yield (
            f"| {name} | {least} | {score.found} of {score.labels} | {recall:.3f}{mark} | "
            f"{low:.3f}–{high:.3f} | {middle} | {most} |"
        )


def _quantile(ordered: list[float], part: float) -> str:
    return f"{ordered[min(int(part * len(ordered)), len(ordered) - 1)]:.1f}"


def _healthy(found: "Findings") -> Iterator[str]:
    assert found.healthy is not None
    yield "## False alarms"
    yield ""
    yield f"Asked: at most {MOST_PER_100_H:g} per 100 h. Healthy nights with prints, target "
    yield "changes, cool-downs, idle stretches and fan steps; events above a notice count."
    yield ""
    yield "| logs | hours | alarms | per 100 h | exact 95 % | which |"
    yield "| --- | --- | --- | --- | --- | --- |"
    score = found.healthy.score
    host = Counter(kind for each in found.played for kind in each.false_alarms)
    hours = sum(each.hours for each in found.played)
    yield _alarm_row("plain heaters", score.hours, score.false_alarms)
    yield _alarm_row("simulated host", hours, host)
    yield _alarm_row("both", score.hours + hours, score.false_alarms + host)


def _alarm_row(name: str, hours: float, alarms: Counter[str]) -> str:
    count = sum(alarms.values())
    low, high = rate_interval(count, hours / PER_H)
    which = ", ".join(f"{kind} {n}" for kind, n in alarms.most_common()) or "–"
    per = count / hours * PER_H
    return f"| {name} | {hours:.0f} | {count} | {per:.2f} | {low:.2f}–{high:.2f} | {which} |"


def _scenarios(played: list[Played]) -> Iterator[str]:
    yield "## The simulated host's scenarios"
    yield ""
    yield "Each on other machines and hosts. Found: one of the expected kinds on its channel. "
    yield "Cause: the true one leads, or one that its evidence can hardly tell from it. Scenarios "
    yield "whose evidence is in codes are drawn with codes."
    yield ""
    yield "| scenario | plays | found | exact 95 % | cause leads | exact 95 % | false alarms |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for name in dict.fromkeys(each.name for each in played):
        mine = [each for each in played if each.name == name]
        false = Counter(kind for each in mine for kind in each.false_alarms)
        told = ", ".join(f"{kind} {n}" for kind, n in false.most_common()) or "–"
        if mine[0].healthy:
            yield f"| {name} | {len(mine)} | healthy | | | | {told} |"
            continue
        shares = " | ".join(
            f"{hits} | {low:.2f}–{high:.2f}"
            for hits in (sum(each.found for each in mine), sum(each.cause for each in mine))
            for low, high in [share_interval(hits, len(mine))]
        )
        yield f"| {name} | {len(mine)} | {shares} | {told} |"


def _confusion(faults: Mapping[str, Result]) -> Iterator[str]:
    yield "## What is seen beside it"
    yield ""
    yield "Share of a fault's logs, in per cent, in which a kind above a notice was seen while the "
    yield "fault was there. One fault may rightly show as several kinds: a contact that opens is "
    yield "also a code at its end. Kinds in fewer than 5 % are left out."
    yield ""
    yield "| fault | its own kind | others |"
    yield "| --- | --- | --- |"
    for name, result in faults.items():
        kind = name.partition(",")[0]
        shares = {k: 100.0 * n / max(result.cases, 1) for k, n in result.seen.most_common()}
        own = f"{shares.get(kind, 0.0):.0f}" if kind in shares else "notice"
        others = [f"{k} {share:.0f}" for k, share in shares.items() if k != kind and share >= 5.0]
        yield f"| {name} | {own} | {', '.join(others) or '–'} |"


def _outsiders(found: "Findings") -> Iterator[str]:
    yield "## Beside outsiders"
    yield ""
    if found.lacking:
        yield f"Not made: {', '.join(found.lacking)} not installed."
        return
    assert found.healthy is not None
    yield "The same logs and the same scoring for all: an alarm on the right channel counts as "
    yield "found, whatever it is called; alarms within 60 s are one. The outsiders get degrees "
    yield "only, for that is what they are made for; they do not say what is wrong. Tuned: the "
    yield "mildest threshold that keeps to 2 false alarms per 100 h on healthy tuning nights, or "
    yield f"the strictest of its grid. Versions: {_versions()}."
    for tuned in (False, True):
        yield ""
        yield "### Tuned to a like rate" if tuned else "### At their defaults"
        yield ""
        yield from _comparison(found, tuned=tuned)


def _versions() -> str:
    told = []
    for name in ("ioos-qc", "river", "pandas"):
        try:
            told.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            told.append(f"{name} missing")
    return ", ".join(told)


def _comparison(found: "Findings", *, tuned: bool) -> Iterator[str]:
    keys: list[Key] = [(OURS, 0.0)]
    heads = [OURS]
    for each in OUTSIDERS:
        limit = found.tuned[each.name] if tuned else each.default
        keys.append((each.name, limit))
        heads.append(f"{each.name} {limit:g} {each.unit}")
    yield f"| fault | {' | '.join(heads)} |"
    yield f"| --- |{' --- |' * len(heads)}"
    for name, result in found.faults.items():
        cells = [
            _found_cell(result.any_kind.get(key), name in LINKS and key[0] != OURS) for key in keys
        ]
        yield f"| {name} | {' | '.join(cells)} |"
    assert found.healthy is not None
    rates = [_rate_cell(found.healthy.any_kind.get(key)) for key in keys]
    yield f"| **false alarms per 100 h** | {' | '.join(rates)} |"
    if not tuned:
        yield ""
        yield from (
            f"- {each.name}: {each.default:g} {each.unit}, {each.why}" for each in OUTSIDERS
        )


def _found_cell(tally: Tally | None, is_not_theirs: bool) -> str:
    if tally is None or not tally.labels:
        return "–"
    told = f"{tally.found} of {tally.labels}"
    return f"({told})" if is_not_theirs else told


def _rate_cell(tally: Tally | None) -> str:
    if tally is None or not tally.hours:
        return "–"
    low, high = rate_interval(tally.alarms, tally.hours / PER_H)
    return f"{tally.alarms / tally.hours * PER_H:.1f} ({low:.1f}–{high:.1f})"


def _diagnosis(found: "Findings", diagram: str | None) -> Iterator[str]:
    assert found.causes is not None
    figures = found.causes
    yield "## The diagnosis"
    yield ""
    yield "Printers with one known cause each, drawn on the simulated host with all causes alike "
    yield "often (`tests/quality/draws.py`), and faults that the table has no row for. "
    yield "`python -m tests.quality.diagnosis --report` makes this part alone."
    yield ""
    yield from (f"- {line}" for line in diagnosis.summary(figures))
    yield ""
    yield f"The temperature, {TEMPERATURE:g}, divides all log odds. It is the one number fitted: "
    yield "least Brier score on tuning draws."
    yield ""
    yield from diagnosis.by_cause(figures)
    yield ""
    yield from diagnosis.by_cell(figures)
    yield ""
    yield "Jumps of a lead that is bad, by the circuit (`shared/circuit.py`) and as found:"
    yield ""
    yield from diagnosis.by_lead(figures)
    yield ""
    if diagram:
        yield f"![Reliability of the leading cause]({diagram})"
        yield ""
    yield from diagnosis.reliability_table(figures.bins())


_LIMITS = (
    "## What this does not show",
    "",
    "- Both simulations are ours. Detectors were tuned on them, with other seeds; a machine "
    "may do what neither does.",
    "- Appearances that several causes share (an open from the first reading) are drawn in "
    "shares that are assumptions; they bound what any diagnosis can reach.",
    "- Of `curve-setting` an element that is off by ten is drawn. Another curve is off by some "
    "tenths of a kelvin at room temperature, which no event shows: it would need a second "
    "thermometer when hot. A Pt1000 on a Pt100 input saturates and is taken for an open lead.",
    "- A ground loop looks like a bad contact or like pick-up unless its heater is seen to "
    "switch: it is the diagnosis' weakest cause.",
    "- Two-wire leads that the profile declares raise nothing, however long: they are as "
    "fitted. `ohmvigil budget` shows the error that they make.",
    "- A row in brackets is one that degrees cannot show; what an outsider found there, it "
    "found by chance or by the fault's side effects.",
)
