"""Which leaves are temperatures: by names, by fluttering, by what follows what."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence

from client.learn import units
from client.learn.found import SAID, Group, Mapped, is_limit, is_motion, naming
from client.learn.relations import (
    DEGREES,
    alike,
    is_by_leaf,
    is_resistance,
    kinship,
    linked,
    repeated,
    shift,
    step_between,
)
from client.learn.series import Series, follows, is_continuous, wanders
from client.learn.tree import Place, Token, text_of
from client.learn.vocabulary import (
    CHANNEL_WORDS,
    FAN_WORDS,
    LIMIT_WORDS,
    WEAK_TEMPERATURE,
    WORKED_OUT,
    quantities_of,
)

MAX_ANCHORS = 64
"""Temperatures that one host may have."""
_ENOUGH = 1.4
_HINTED = 0.3
_UNTOLD = 0.0
"""Score of a leaf of which nothing is known."""
_LEAST_HIGH = 5.0
"""What never gets beyond this is no reading of a room's temperature in any unit."""
SEEN_K = 15.0
"""What hardly moves follows any curve."""
_NEAR = 0.7
"""Kinship of numbers that may be one channel's."""
_NOT_TEMPERATURES = {"target_c", "power", "code", "resistance_ohm", "speed_mm_s", "uptime_s"}
_WORDS_ALONE = {"state", "message", "flags"}
"""What a leaf of such a name is no temperature for, though readings may stand under it."""


def temperatures(
    leaves: Mapping[Place, Series], taken: set[Place], given: Collection[Place] = ()
) -> list[Mapped]:
    """Temperatures among the leaves, sorted by place; `given` are some, as told."""
    numbers = _numbers(leaves, taken)
    scored = _scored(numbers)
    told = [one for place, one in leaves.items() if one.is_number and place in given]
    scored = [found for found in scored if found.series not in told]
    scored += [Mapped(one, "temperature_c", SAID, ["you said so"]) for one in told]
    anchors = [found for found in scored if found.score >= _ENOUGH]
    anchors += _by_behaviour(scored, anchors, numbers)
    return _sifted(anchors)


def and_alike(
    leaves: Mapping[Place, Series], made: Sequence[Group], taken: set[Place]
) -> list[Mapped]:
    """The temperatures and what stands as they do, sorted by place.

    The step that leads from a reading to its target tells quantities apart: what differs from the
    reading in that step alone is no other channel, but more of the same one.
    """
    anchors = [group.anchor for group in made]
    parts = {part.series.place for group in made for part in group.parts.values()}
    known = {group.place for group in made} | parts | taken
    sizes = Counter(place[:-1] for place, one in leaves.items() if one.is_number)
    grouped = {place[-1] for place in leaves if sizes[place[:-1]] > 1}
    columns = [
        group.place for group in made if not any(alike(group.place, p, False) for p in parts)
    ]
    fresh = []
    for found in _scored(_numbers(leaves, known)):
        one = found.series
        beside = sum(alike(place, one.place, False) for place in columns)
        if beside > 1 and one.moves_little:
            found.score = max(found.score, _HINTED)
            fresh.append(found)
        elif found.score > -1.5 and not _is_by_id(one.place, grouped):
            fresh.append(found)
    steps = {
        group.place: step_between(group.place, part.series.place)
        for group in made
        for part in group.parts.values()
    }
    return _sifted([*anchors, *_alike(fresh, anchors, steps)])


def _numbers(leaves: Mapping[Place, Series], taken: set[Place]) -> list[Series]:
    numbers = [one for place, one in leaves.items() if one.is_number and place not in taken]
    numbers = [one for one in numbers if one.can_be("temperature_c")]
    return [
        one
        for one in numbers
        if not is_motion(one, leaves)
        and not is_limit(one)
        and (_says_degrees(one) or not wanders(one))
    ]


def _scored(numbers: Sequence[Series]) -> list[Mapped]:
    plausible = [one for one in numbers if one.low >= -60.0 and one.high <= _highest(one)]
    return [_temperature(one) for one in plausible]


def _sifted(anchors: Sequence[Mapped]) -> list[Mapped]:
    """Without what turns out to be another thing beside the rest, though it was not said."""
    kept = _without_repeats(_without_worked_out(_without_targets(anchors[:MAX_ANCHORS])))
    ids = set(map(id, kept))
    found = [one for one in anchors if id(one) in ids or one.score >= SAID]
    return sorted(found, key=lambda f: tuple(map(text_of, f.series.place)))


def _says_degrees(one: Series) -> bool:
    return "temperature_c" in quantities_of(one.last_words) or bool(units.said(one))


def _highest(one: Series) -> float:
    """The highest number that may be a temperature: whole ones may be parts of a degree."""
    return 1.5e6 if one.is_whole else 1500.0


def _temperature(one: Series) -> Mapped:
    """How much a leaf looks like a temperature by itself."""
    found = Mapped(one, "temperature_c", 0.0)
    own = one.last_words
    named = quantities_of(own)
    is_moving = one.moves or one.moves_little
    before = {q for parts in one.words[:-1] for q in quantities_of(parts)}
    by_index = text_of(one.place[-1]).isdigit()
    if "temperature_c" in named and not named & {"target_c", "power", "code"}:
        # The name of a list is of all that stands in it, settings too.
        of_list = by_index and not is_moving
        found.score += 1.0 if of_list else 2.0
        found.why.append(f"named '{naming(one, 'temperature_c')}'")
    elif named & (_NOT_TEMPERATURES | _WORDS_ALONE) or own & LIMIT_WORDS - WEAK_TEMPERATURE:
        found.score -= 3.0
    elif own & WEAK_TEMPERATURE and not (one.said_unit and is_moving):
        found.score += 0.7
    elif units.said(one) and not before & _NOT_TEMPERATURES:
        # A setting says its unit too, and stands.
        found.score += 1.4 if is_moving or not one.said_unit else 0.2
        found.why.append(units.who_says(one))
    if "temperature_c" in before and not named & _NOT_TEMPERATURES and (is_moving or not by_index):
        found.score += 1.0
    if before & (_NOT_TEMPERATURES - {"speed_mm_s"}) and "temperature_c" not in named:
        found.score -= 2.0
    if one.all_words & CHANNEL_WORDS.keys():
        found.score += 0.4
    if one.all_words & FAN_WORDS:
        found.score -= 2.0
    is_fine = not one.is_whole or (one.high > 1500.0 and _says_degrees(one))
    if one.flutters and is_fine and one.high > _LEAST_HIGH:
        found.score += 0.7
        found.why.append("flutters like a measurement")
    if (one.is_rising or not _says_degrees(one)) and any(map(one.runs_at, (1.0, 1e3))):
        found.score -= 2.0
    if one.distinct == 1 and 0.0 < abs(one.high) <= 1.0:
        found.score -= 2.0  # A factor, say; no room is at just so little all the time.
    return found


def _by_behaviour(
    scored: Sequence[Mapped], sure: Sequence[Mapped], numbers: Sequence[Series]
) -> list[Mapped]:
    """Leaves without a telling name that another number leads, or that a code follows.

    One setting leads one reading: what only happens to be near another's is none.
    """
    known = {id(found) for found in sure}
    led = [
        found
        for found in scored
        if id(found) in known or (found.score >= _UNTOLD and _is_measured(found.series))
    ]
    more = []
    shifts = set()
    for found, score, setting in _led_by_their_own(led, numbers):
        if id(found) not in known and is_continuous(found.series):
            found.score = max(found.score + 1.5 * score, _ENOUGH)
            found.why.append("follows a number beside it that stands still")
            more.append(found)
            shifts.add(shift(found.series.place, setting.place))
    for found in scored:
        place, one = found.series.place, found.series
        if id(found) in known or found in more or not one.moves_little or found.score < _UNTOLD:
            continue
        if one.high <= _LEAST_HIGH:
            continue
        near = [n for n in numbers if shift(place, n.place) in shifts - {None}]
        if any(follows(one, setting) > 0.5 for setting in near):
            found.score = max(found.score, _ENOUGH)
            found.why.append("stands to its setting as the others do, and follows it")
            more.append(found)
    for found in led:
        if id(found) in known or found.score < _HINTED or found in more:
            continue
        near = [n for n in numbers if n.flutters and kinship(found.series, n) >= _NEAR]
        links = (linked(found.series, other, DEGREES) for other in near)
        if any(link is not None and link.span_k > SEEN_K for link in links):
            found.score += 2.0
            found.why.append("a number beside it follows it through the platinum curve")
            more += [found] if found.score >= _ENOUGH else []
    return more


def _is_measured(one: Series) -> bool:
    """Whether it moves as a reading does, be it by its last digit, beyond what is cold."""
    return (one.flutters or one.is_restless) and one.high > _LEAST_HIGH


def _led_by_their_own(
    led: Sequence[Mapped], numbers: Sequence[Series]
) -> Iterator[tuple[Mapped, float, Series]]:
    """Readings, how well each follows its setting, and that, the surest first; one leads one."""
    found = [
        (score + 0.5 * near - 0.15 * other.is_full_scale, score, n, m)
        for n, one in enumerate(led)
        for m, other in enumerate(numbers)
        if other is not one.series
        and (near := kinship(one.series, other)) >= _NEAR
        and (score := follows(one.series, other, is_told=False)) > 0.5
    ]
    leads: set[int] = set()
    follow: set[int] = set()
    bonus = repeated([(led[n].series.place, numbers[m].place) for *_, n, m in found])
    pairs = [(one[0] + more, *one[1:]) for one, more in zip(found, bonus, strict=True)]
    for _, score, n, m in sorted(pairs, key=lambda pair: -pair[0]):
        if n not in follow and m not in leads:
            follow.add(n)
            leads.add(m)
            yield led[n], score, numbers[m]


def _alike(
    scored: Sequence[Mapped], sure: Sequence[Mapped], of_quantity: Mapping[Place, int | None]
) -> list[Mapped]:
    """Leaves at places like those of the sure ones, but for the channel's step; `of_quantity` says
    which step tells a sure one's quantities apart."""
    places = [found.series.place for found in sure]
    by_leaf = is_by_leaf(places)
    more = []
    for found in scored:
        place = found.series.place
        # A setting stands too; what nothing speaks for must be seen to move.
        if found.score < _HINTED and not (found.series.moves or found.series.is_restless):
            continue
        if any(
            alike(other, place, by_leaf) and step_between(other, place) != of_quantity.get(other)
            for other in places
        ):
            found.score = max(found.score + 1.0, _ENOUGH)
            found.why.append("stands like the others")
            more.append(found)
    return more


def _is_by_id(place: Place, grouped: set[Token]) -> bool:
    """Whether an id alone tells a number from others: its index, or that of a row that, like all
    such rows, holds nothing else. Then standing alike makes no temperature of it. `grouped` are
    members that stand beside others."""
    return text_of(place[-1]).isdigit() or (len(place) > 1 and place[-1] not in grouped)


def _without_targets(anchors: Sequence[Mapped]) -> list[Mapped]:
    """Leave out what another candidate follows, resistances, and what stands as they do."""
    sure = [one.series.place for one in anchors if one.score >= 2.0]
    places = [
        goal.series.place
        for goal in anchors
        if not goal.series.flutters
        and not (goal.score >= 2.0 and any(alike(goal.series.place, p, False) for p in sure))
        and any(
            kinship(one.series, goal.series) >= 0.7 and follows(one.series, goal.series) > 0.5
            for one in anchors
            if one is not goal and one.series.flutters
        )
    ]
    places += [
        ohm.series.place
        for ohm in anchors
        if any(
            one is not ohm
            and kinship(one.series, ohm.series) >= 1.0
            and is_resistance(one.series, ohm.series)
            for one in anchors
        )
    ]
    return [
        one
        for one in anchors
        if one.series.place not in places
        and (one.score >= 2.0 or not any(alike(one.series.place, p, False) for p in places))
        and (one.series.flutters or not any(alike(one.series.place, p, False) for p in places))
    ]


def _without_worked_out(anchors: Sequence[Mapped]) -> list[Mapped]:
    """Leave out averages and extremes where the reading itself stands beside them."""

    def plain(one: Series) -> tuple[str, ...]:
        return tuple(w for w in one.words[-1] if w not in WORKED_OUT | WEAK_TEMPERATURE)

    def is_more(one: Series) -> bool:
        return bool(WORKED_OUT & set(one.words[-1]))

    names = {
        (one.series.place[:-1], plain(one.series)) for one in anchors if not is_more(one.series)
    }

    def is_worked_out(one: Series) -> bool:
        return is_more(one) and (one.place[:-1], plain(one)) in names

    return [one for one in anchors if not is_worked_out(one.series)]


def _without_repeats(anchors: Sequence[Mapped]) -> list[Mapped]:
    """Of several candidates that are one channel's reading and target alike, the reading."""
    kept: list[Mapped] = []
    for found in sorted(anchors, key=lambda f: -f.score):
        one = found.series
        rivals = [k for k in kept if kinship(k.series, one) >= 1.0 and _same_step(k.series, one)]
        weak = found.score < 1.9
        if rivals and weak and (not one.flutters or found.score < rivals[0].score - 0.5):
            continue
        kept.append(found)
    return sorted(kept, key=lambda f: tuple(map(text_of, f.series.place)))


def _same_step(a: Series, b: Series) -> bool:
    return a.place[:-1] == b.place[:-1]
