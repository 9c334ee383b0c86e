"""Bad links judged: figures, and the section of docs/quality.md."""

from collections import Counter
from collections.abc import Iterator, Sequence

from detectors.diagnosis.table import words_of
from shared.words import Cause
from tests.quality.calibration import Bin, expected_error, fitted_temperature, reliability
from tests.quality.diagnosis import reliability_table
from tests.quality.intervals import share_interval
from tests.quality.links.draws import CASES
from tests.quality.links.judging import Outcome, judged
from tests.quality.pool import shared_out

TUNING_SEED = 41_000
REPORTING_SEED = 1_260_000
EACH = 40
LEAST_RIGHT, MOST_ERROR, MOST_BLIND = 0.9, 0.05, 0.6


def outcomes(seed: int, each: int, workers: int) -> list[Outcome]:
    tasks = [(case, seed + k) for case in CASES for k in range(each)]
    return list(shared_out(judged, tasks, workers, "links"))


def bins_of(found: Sequence[Outcome]) -> list[Bin]:
    said = [each for each in found if each.raw is not None]
    odds = [each.odds() for each in said]
    leading = [o[each.leading] for o, each in zip(odds, said, strict=True)]
    return reliability(leading, [each.is_right for each in said])


def summary(found: Sequence[Outcome]) -> Iterator[str]:
    """The figures, each beside what is asked of it."""
    told = [each for each in found if is_told(each)]
    yield f"draws: {len(found)}, of which {len(found) - len(told)} raise nothing"
    yield _share("leading right", sum(o.is_right for o in told), len(told), f"≥ {LEAST_RIGHT}")
    yield _share("finding in fitting words", sum(o.is_told for o in told), len(told), "all")
    error = expected_error(bins_of(found))
    said = [each for each in found if each.raw is not None]
    yield f"expected calibration error: {error:.3f} of {len(said)} (asked ≤ {MOST_ERROR})"
    fitted = fitted_temperature(
        [each.raw for each in said if each.raw is not None], [each.cause for each in said]
    )
    yield f"temperature that would fit these draws: {fitted:.2f}"
    blind = [o.odds()[Cause.NETWORK] for o in said if o.cause is not Cause.NETWORK]
    yield f"most said of network where it is not: {max(blind):.2f}"


def is_told(each: Outcome) -> bool:
    """Whether anything was told that a cause could be right or wrong for."""
    return each.raw is not None or each.as_restart


def _share(what: str, hits: int, of: int, asked: str) -> str:
    low, high = share_interval(hits, of)
    return f"{what}: {hits} of {of}, {hits / max(of, 1):.3f} ({low:.3f}–{high:.3f}; asked {asked})"


def by_case(found: Sequence[Outcome]) -> Iterator[str]:
    """A Markdown table: what each case is told as."""
    yield "| case | true | draws | nothing told | right | finding told | taken for | next check |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for case in CASES:
        mine = [each for each in found if each.case == case]
        told = [each for each in mine if is_told(each)]
        right = sum(each.is_right for each in told)
        wrong = Counter(words_of(o.leading) for o in told if not o.is_right and o.raw is not None)
        wrong["a restart"] += sum(o.as_restart and not o.is_right for o in told)
        taken = ", ".join(f"{name} {count}" for name, count in (+wrong).most_common()) or "–"
        checks = Counter(each.check for each in told if each.check)
        check = checks.most_common(1)[0][0] if checks else "–"
        cause = words_of(mine[0].cause) if mine[0].cause else "none of the table"
        yield (
            f"| {case} | {cause} | {len(mine)} | {len(mine) - len(told)} | {right} | "
            f"{sum(each.is_told for each in told)} | {taken} | {check} |"
        )


def section(found: Sequence[Outcome]) -> Iterator[str]:
    """The section of docs/quality.md."""
    yield "## Causes of a bad link"
    yield ""
    yield "Hosts, ways and watching machines drawn at random (`tests/quality/links/draws.py`),"
    yield "through the client's supervisor on skipped time, its mapping, detectors and diagnosis."
    yield "`python -m tests.quality.links --report` makes this part alone."
    yield ""
    yield from (f"- {line}" for line in summary(found))
    yield ""
    yield "Of the table's causes only `network` and `host load` are of a link. What is neither"
    yield "counts as right where the unknown cause leads; the finding then stands in words. A"
    yield "restart behind a loss is a notice beside it. Nothing is told"
    yield "of a stall of our own where the host's clock shows that no reading is missing."
    yield ""
    yield from by_case(found)
    yield ""
    yield from reliability_table(bins_of(found))
    yield ""
    yield "A machine without power that stays so looks from here like a network that is gone:"
    yield "network is then said with 0.6 at most, and some are wrong either way. An outage that"
    yield "ends just as the link is given up looks like a host that fell mute."
