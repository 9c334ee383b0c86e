"""What a run of worlds amounts to, as tables in plain text."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from scipy.stats import fisher_exact

from tests.quality.intervals import rate_interval, share_interval
from tests.quality.worlds.judging import Found, Outcome
from tests.quality.worlds.world import HEALTHY

LEAST_COUNT = 3
"""A trait's value is shown from so many wrong worlds that have it."""
MOST_CHANCE = 0.05
"""And if chance alone would seldom share them out so (Fisher's exact test, not corrected)."""
MOST_TRAITS = 12


def recall(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Found of planted by kind, as its own kind and as one that is right as well."""
    yield f"{'kind':<18} {'found':>9}  exact 95 %    {'or as well':>10}  told instead where missed"
    every: list[Found] = [each for outcome in outcomes for each in outcome.found]
    for kind in sorted({each.kind for each in every}):
        yield _recall_line(kind, [each for each in every if each.kind == kind])
    if every:
        yield _recall_line("all", every)


def _recall_line(name: str, each: Sequence[Found]) -> str:
    hits, of = sum(one.is_found for one in each), len(each)
    low, high = share_interval(hits, of)
    instead = Counter(
        " + ".join(one.instead) or "nothing" for one in each if not one.is_found and name != "all"
    )
    words = ", ".join(f"{what} {count}" for what, count in instead.most_common(4))
    told = f"{sum(one.is_told for one in each)}/{of}"
    return f"{name:<18} {f'{hits}/{of}':>9}  {low:.3f}–{high:.3f}  {told:>10}  {words}"


def alarms(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """False alarms per 100 healthy hours, in healthy worlds and before faults."""
    for name, mine in (
        ("healthy worlds", [each for each in outcomes if each.kind == HEALTHY]),
        ("before a fault", [each for each in outcomes if each.kind != HEALTHY]),
        ("both", list(outcomes)),
    ):
        hours = sum(each.healthy_hours for each in mine)
        kinds = Counter(one.kind for each in mine for one in each.alarms)
        worlds = sum(bool(each.alarms) for each in mine)
        if hours <= 0.0:
            continue
        low, high = (100.0 * rate for rate in rate_interval(sum(kinds.values()), hours))
        which = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common()) or "–"
        yield (
            f"{name:<15} {hours:7.1f} h {sum(kinds.values()):>4} alarms in {worlds} of {len(mine)} "
            f"worlds, {100.0 * sum(kinds.values()) / hours:.2f} per 100 h ({low:.2f}–{high:.2f}): "
            f"{which}"
        )


def causes(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Whether the leading cause is the true one, where there is one only and something was told."""
    asked = [one for each in outcomes for one in each.found if one.cause and one.instead]
    for cause in [*sorted({str(one.cause) for one in asked}), ""]:
        mine = [one for one in asked if cause in ("", one.cause)]
        right, of = sum(one.leads == one.cause for one in mine), len(mine)
        low, high = share_interval(right, of)
        taken = Counter(str(one.leads) for one in mine if one.leads != one.cause and cause)
        words = ", ".join(f"{what} {count}" for what, count in taken.most_common(4))
        yield f"{cause or 'all':<24} {f'{right}/{of}':>8}  {low:.3f}–{high:.3f}  {words}"


def beside(outcomes: Sequence[Outcome]) -> str:
    """What was told beside faults, of other channels or later; their wake, or chance."""
    kinds = Counter(kind for each in outcomes for kind in set(each.beside))
    return ", ".join(f"{kind} in {count}" for kind, count in kinds.most_common()) or "–"


def worst(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """The worst tenth: most missed and false, for their hours."""
    order = sorted(outcomes, key=lambda each: (-each.missed - len(each.alarms), each.seed))
    for each in order[: max(1, len(order) // 10)]:
        if each.is_wrong:
            yield f"{each.seed:>7} {each.kind:<18} {each.hours:4.1f} h  {_wrong(each)}"


def missed(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Every miss, every false alarm, and every fault whose leading cause is another."""
    for each in outcomes:
        for one in each.found:
            if not one.is_found:
                seen = ", ".join(one.instead) or "nothing"
                yield f"{each.seed:>7} missed {one.kind} {one.channel}: {one.size}; told: {seen}"
            if one.cause and one.instead and one.leads != one.cause:
                words = f"{one.leads} leads, not {one.cause}"
                yield f"{each.seed:>7} {one.kind} {one.channel}: {one.size}; {words}"
        for alarm in each.alarms:
            yield (
                f"{each.seed:>7} false {alarm.kind} {alarm.channel} at {alarm.at_s:.0f} s "
                f"({each.kind}): {alarm.text}"
            )


def _wrong(outcome: Outcome) -> str:
    kinds = Counter(each.kind for each in outcome.alarms)
    false = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common(4))
    lost = ", ".join(f"{one.kind} ({one.size})" for one in outcome.found if not one.is_found)
    parts = [f"missed {lost}" if lost else "", f"false {false}" if false else ""]
    keys = ("period", "form", "bursts", "told", "noise colour", "nozzle control", "bed control")
    traits = ", ".join(f"{key} {outcome.traits[key]}" for key in keys)
    return f"{'; '.join(part for part in parts if part)}  [{traits}]"


@dataclass(frozen=True, slots=True)
class Tie:
    """A trait's value that goes with what is wrong."""

    trait: str
    value: str
    wrong: int
    wrong_of: int
    right: int
    right_of: int
    chance: float
    seed: int


def ties(outcomes: Sequence[Outcome], is_wrong: Callable[[Outcome], bool]) -> list[Tie]:
    """Traits' values that wrong worlds have more often than right ones, the likeliest first."""
    wrong = [each for each in outcomes if is_wrong(each)]
    right = [each for each in outcomes if not is_wrong(each)]
    found = []
    for trait, value in sorted({pair for each in wrong for pair in each.traits.items()}):
        mine = [each for each in wrong if each.traits[trait] == value]
        other = sum(each.traits[trait] == value for each in right)
        if len(mine) < LEAST_COUNT or not right:
            continue
        table = [[len(mine), len(wrong) - len(mine)], [other, len(right) - other]]
        chance = float(fisher_exact(table, alternative="greater").pvalue)
        if chance <= MOST_CHANCE:
            found.append(
                Tie(trait, value, len(mine), len(wrong), other, len(right), chance, mine[0].seed)
            )
    return sorted(found, key=lambda tie: tie.chance)[:MOST_TRAITS]


def tie_lines(title: str, found: Sequence[Tie]) -> Iterator[str]:
    yield f"{title:<34} {'wrong':>12} {'right':>12}  chance  e.g. seed"
    for tie in found:
        wrong, right = f"{tie.wrong}/{tie.wrong_of}", f"{tie.right}/{tie.right_of}"
        name = f"{tie.trait}: {tie.value}"
        yield f"  {name:<32} {wrong:>12} {right:>12}  {tie.chance:.4f}  {tie.seed}"
    if not found:
        yield "  none that counts could show"


def report(outcomes: Sequence[Outcome], with_missed: bool) -> Iterator[str]:
    """All tables."""
    yield from recall(outcomes)
    yield "\nfalse alarms"
    yield from alarms(outcomes)
    yield f"beside a fault, in worlds: {beside(outcomes)}"
    yield "\nleading cause, where the fault has one only and something was told"
    yield from causes(outcomes)
    yield "\nthe worst tenth"
    yield from worst(outcomes)
    yield ""
    faulty = [each for each in outcomes if each.found]
    yield from tie_lines("traits that go with misses", ties(faulty, lambda w: bool(w.missed)))
    yield from tie_lines(
        "traits that go with false alarms", ties(outcomes, lambda w: bool(w.alarms))
    )
    for kind in sorted({alarm.kind for each in outcomes for alarm in each.alarms}):
        yield from _of_kind(outcomes, kind)
    if with_missed:
        yield "\nmissed and false, each"
        yield from missed(outcomes)


def _of_kind(outcomes: Sequence[Outcome], kind: str) -> Iterator[str]:
    """Traits that go with one kind's false alarms, where enough worlds have them."""

    def has(outcome: Outcome) -> bool:
        return any(alarm.kind == kind for alarm in outcome.alarms)

    if sum(map(has, outcomes)) >= LEAST_COUNT:
        yield from tie_lines(f"false {kind}", ties(outcomes, has)[:5])
