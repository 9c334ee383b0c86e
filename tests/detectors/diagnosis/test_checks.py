"""Checks tell causes apart, say what to mind, and answers move the ranking."""

import re
from itertools import combinations
from textwrap import wrap

import numpy as np
import pytest
from scipy.stats import entropy

from detectors.diagnosis import Answer, diagnose
from detectors.diagnosis.checks import CATALOGUE, OUTSIDE, RUN_ON, STATIC, whole
from detectors.diagnosis.diagnose import as_check, information_bits, next_check
from detectors.diagnosis.table import (
    CANDIDATES,
    OTHERS,
    Candidate,
    Chances,
    CheckForm,
    Outcome,
    Risk,
    Scene,
)
from detectors.measured.twopoint import TwoPointCheck
from shared.chain import Chain
from shared.errors import BadInput
from shared.words import Cause, Gate, Kind
from tests.detectors.diagnosis.found import FLYING, PLUGGED, event, ranked

TWO = Scene(Chain(wires=3), channels=2)
BREAKS = event(Kind.CONTACT_BREAK, count=6, full=0.5, gate=Gate.PRINTING)


def odds_of(leading: dict[Cause, float]) -> dict[Candidate, float]:
    """These causes lead; the rest share what is left."""
    rest = (1.0 - sum(leading.values())) / (len(CANDIDATES) - len(leading))
    return {cause: leading.get(cause, rest) if cause else rest for cause in CANDIDATES}


def test_expected_information_is_the_mutual_information_of_cause_and_outcome() -> None:
    """Against SciPy's entropies: H(cause) + H(outcome) − H(cause, outcome)."""
    rng = np.random.default_rng(3)
    for form in CATALOGUE.values():
        p = rng.dirichlet(np.ones(len(CANDIDATES)))
        odds = dict(zip(CANDIDATES, p.tolist(), strict=True))
        joint = np.array([[odds[c] * like for like in form.likelihoods(c)] for c in CANDIDATES])
        mutual = (
            entropy(p, base=2) + entropy(joint.sum(axis=0), base=2) - entropy(joint.ravel(), base=2)
        )
        assert information_bits(form, odds) == pytest.approx(mutual, abs=1e-12)


def test_every_row_of_a_check_is_a_distribution_over_its_outcomes() -> None:
    """As written, before anything is raised to the floor."""
    for form in CATALOGUE.values():
        rows = form.chances.values()
        for row in rows:
            assert len(row) == len(form.outcomes), form.name
            assert sum(row) == pytest.approx(1.0), form.name


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (Chances(OTHERS, 0.5, 0.6), "no distribution"),
        (Chances(OTHERS, 1.0), "no distribution"),
        (Chances(None, 0.5, 0.5), "no chances under 'others'"),
    ],
)
def test_chances_that_do_not_fit_the_outcomes_are_refused(row: Chances, why: str) -> None:
    """With the name of the check, before anything is weighed."""
    rows = ["Look.", Outcome("yes", "it is"), Outcome("no", "it is not"), row]
    with pytest.raises(ValueError, match=f"'look'.* {why}"):
        whole(CheckForm("look", 1, "none", Risk.LOOK), rows)


def test_a_check_that_touches_hardware_says_what_to_mind() -> None:
    """Switched off and unplugged, or cold; and mains wiring is for the licensed."""
    for form in CATALOGUE.values():
        if form.risk > Risk.LOOK:
            assert "mains" in form.caution.lower(), form.name
            assert "local code" in form.caution, form.name
        if form.tools not in ("none", "") and form.risk > Risk.LOOK:
            assert form.caution, form.name


def test_a_caution_is_read_whole_at_80_columns() -> None:
    """Three lines beside a label of ten cells: what is cut off protects nobody."""
    for form in CATALOGUE.values():
        assert len(wrap(form.caution, 69)) <= 3, form.name


def test_wiring_is_touched_only_switched_off_and_unplugged() -> None:
    """Unless the check needs the machine on, and then it says what to keep clear of."""
    for form in CATALOGUE.values():
        if form.risk > Risk.LOOK and form.tools not in ("none", ""):
            off = "Power off and unplug" in form.caution
            assert off or "Heaters and motors off" in form.caution or "Machine on" in form.caution


def test_where_two_causes_lead_the_check_tells_them_apart() -> None:
    """For every pair of causes: the outcomes under the two differ by 0.3 and more."""
    apart = 0
    pairs = list(combinations(Cause, 2))
    for one, other in pairs:
        form = next_check(odds_of({one: 0.45, other: 0.45}), TWO)
        assert form is not None
        rows = zip(form.likelihoods(one), form.likelihoods(other), strict=True)
        apart += 0.5 * sum(abs(a - b) for a, b in rows) >= 0.3
    assert apart >= 0.9 * len(pairs)


def test_a_check_near_heat_or_mains_is_never_proposed_first() -> None:
    """While any safer check tells something, for any single leading cause."""
    for cause in Cause:
        form = next_check(odds_of({cause: 0.6}), TWO)
        assert form is not None
        assert form.risk < Risk.HEAT_OR_MAINS, cause


def test_an_answer_moves_the_ranking_to_the_cause_it_points_to() -> None:
    """A cable that breaks when bent is a broken lead; a plug that jumps is loose."""
    plain = ranked(BREAKS)
    assert plain[0].next_check is not None
    assert plain[0].next_check.name == "wiggle-cable"
    for outcome, cause in (
        ("breaks-in-the-cable", Cause.BROKEN_LEAD),
        ("breaks-at-an-end", Cause.LOOSE_CONNECTION),
    ):
        answer = Answer(channel="nozzle", check="wiggle-cable", outcome=outcome)
        moved = ranked(BREAKS, answers=(answer,))
        assert moved[0].cause is cause
        assert moved[0].next_check is not None
        assert moved[0].next_check.name != "wiggle-cable"
        assert any(words.startswith("wiggle-cable") for words in moved[0].evidence_for)


def test_an_answer_for_one_channel_leaves_the_others_alone() -> None:
    """The bed's ranking doesn't hear of the nozzle's cable."""
    bed = event(Kind.CONTACT_BREAK, channel="bed", count=6, full=0.5)
    answer = Answer(channel="nozzle", check="wiggle-cable", outcome="breaks-in-the-cable")
    assert ranked(BREAKS, bed, channel="bed") == ranked(
        BREAKS, bed, answers=(answer,), channel="bed"
    )


def test_a_change_that_cured_nothing_speaks_against_its_cause() -> None:
    """Capacitance added and the same noise: it is not the filter."""
    noise = event(Kind.INTERFERENCE, tied_to="motion", gate=Gate.PRINTING)
    chains = {"nozzle": PLUGGED}
    before = diagnose([noise], chains)
    shown = Answer(channel="nozzle", check="add-capacitance", outcome="same")
    after = diagnose([noise], chains, [shown])
    assert before[0].cause is Cause.INPUT_FILTER
    assert after[0].cause is not Cause.INPUT_FILTER


@pytest.mark.parametrize(
    ("check", "outcome", "named"),
    [("shake-it", "gone", "wiggle-cable"), ("wiggle-cable", "gone", "no-break")],
)
def test_an_unknown_check_or_outcome_is_refused_with_the_known_ones(
    check: str, outcome: str, named: str
) -> None:
    """One line that says what there is."""
    with pytest.raises(BadInput, match=named):
        diagnose([BREAKS], {}, [Answer(channel="nozzle", check=check, outcome=outcome)])


def test_a_swap_is_proposed_only_where_there_is_another_input() -> None:
    """One channel alone has nothing to exchange with."""
    odds = odds_of({Cause.SENSOR_FAILED: 0.45, Cause.BUS_WIRING: 0.45})
    done = set(CATALOGUE) - {"swap-inputs", "look-at-network"}
    alone = next_check(odds, Scene(done=done))
    beside = next_check(odds, Scene(channels=2, done=done))
    assert alone is not None
    assert alone.name == "look-at-network"
    assert beside is not None
    assert beside.name == "swap-inputs"


def test_every_outcome_of_a_proposed_check_is_concluded_or_left_out() -> None:
    """For every pair of leading causes: each outcome that is told says what it means."""
    for one, other in combinations(Cause, 2):
        odds = odds_of({one: 0.55, other: 0.35})
        form = next_check(odds, TWO)
        assert form is not None
        told = as_check(form, odds).look_for
        assert told
        for part in told.split("; "):
            words, arrow, meaning = part.partition(" → ")
            assert arrow, (form.name, told)
            assert words in {outcome.words for outcome in form.outcomes}
            assert meaning


def test_an_outcome_that_moves_no_leading_cause_is_not_told() -> None:
    """Whether a sensor sits well says nothing between network and host."""
    odds = odds_of({Cause.NETWORK: 0.5, Cause.HOST_LOAD: 0.4})
    told = as_check(CATALOGUE["look-at-seat"], odds).look_for
    assert told == "it slipped out or is loose → sensor seating"


def test_an_outcome_that_fits_another_cause_far_better_names_that_one() -> None:
    """A cable that jumps when it bends is a broken lead, however sure a loose plug seemed."""
    told = as_check(CATALOGUE["wiggle-cable"], odds_of({Cause.LOOSE_CONNECTION: 0.9})).look_for
    assert "when the cable bends → broken lead" in told
    assert "nothing jumps → less likely loose connection" in told


def test_a_check_says_what_tools_it_takes() -> None:
    """And nothing where it takes none."""
    odds = odds_of({Cause.SENSOR_FAILED: 0.9})
    assert as_check(CATALOGUE["measure-cold-ohms"], odds).tools == "multimeter"
    assert as_check(CATALOGUE["wiggle-cable"], odds).tools == ""


def test_what_to_look_for_names_the_leading_causes() -> None:
    """Each outcome that points somewhere says where."""
    check = ranked(BREAKS)[0].next_check
    assert check is not None
    assert "loose connection" in check.look_for
    assert "broken lead" in check.look_for
    bus = ranked(event(Kind.BIT_FLIP, count=9), chain=FLYING)[0].next_check
    assert bus is not None
    assert "bus wiring" in bus.look_for


HEAT = re.compile(r"heat-up|set \d+ °C|heaters? (on|run)|then (the )?heaters|while heaters", re.I)
MACHINE_ON = re.compile(r"machine on|plug in|switch .* on and off|set \d+ °C|while heaters", re.I)


def test_a_check_that_heats_or_touches_mains_is_of_that_class_and_says_what_to_mind() -> None:
    """What its own words say, not only what it claims; a change is heated from beside it."""
    seen = set()
    for form in CATALOGUE.values():
        if not HEAT.search(form.do.replace("heaters and motors off", "")):
            assert not form.heats, form.name
            continue
        seen.add(form.name)
        if form.changes:
            assert RUN_ON in form.do, form.name
            continue
        assert form.heats, form.name
        assert form.risk is Risk.HEAT_OR_MAINS, form.name
        assert "mains switch: off after 15 s (bed: 60 s)" in form.caution, form.name
    assert {"watch-cold-heat-up", "loads-off-on", "check-supply-volts"} <= seen


def test_every_change_is_heated_from_beside_the_machine() -> None:
    """It may have made the reading wrong."""
    for form in CATALOGUE.values():
        assert not form.changes or RUN_ON in form.do, form.name


def test_with_the_machine_on_nobody_reaches_into_a_housing_with_mains() -> None:
    """Every check whose words have it on."""
    on = [form for form in CATALOGUE.values() if MACHINE_ON.search(form.do)]
    assert len(on) >= 4
    for form in on:
        assert OUTSIDE in form.caution, form.name


def test_a_lead_that_stands_open_is_measured_before_it_is_bent() -> None:
    """Bending may close it, and then nothing is left to measure."""
    parted = event(Kind.CODE_HIGH, end_s=None, first_reading=1.0)
    before = ranked(parted)
    names = {cause.next_check.name for cause in before if cause.next_check is not None}
    assert "measure-cold-ohms" in names
    assert "wiggle-cable" not in names
    answer = Answer(channel="nozzle", check="measure-cold-ohms", outcome="right")
    after = {
        cause.next_check.name for cause in ranked(parted, answers=(answer,)) if cause.next_check
    }
    assert "wiggle-cable" in after


def test_no_water_comes_near_the_machine() -> None:
    """Baths are for a board beside it, on a supply without mains inside."""
    assert "No water near the machine" in TwoPointCheck.caution
    assert not any("water" in form.do for form in CATALOGUE.values())


def test_whoever_touches_a_board_has_touched_earthed_metal_before() -> None:
    """Every check that is done at a board."""
    for form in CATALOGUE.values():
        at_a_board = re.search(r"\bboards?\b|straps|converter", form.do)
        if at_a_board and form.risk is Risk.TOUCH and "Machine on" not in form.do:
            assert STATIC in form.caution, form.name


def test_a_measured_check_goes_by_the_meters_own_error() -> None:
    """0.8 % and 3 digits of 0.1 Ω at 109.7 Ω are 1.18 Ω: ± 3 K on the slope of IEC 60751."""
    slope = 100.0 * (3.9083e-3 - 2.0 * 5.775e-7 * 25.0)
    assert (0.008 * 109.73 + 0.3) / slope == pytest.approx(3.0, abs=0.1)
    assert "± 3 K" in CATALOGUE["measure-cold-ohms"].do
    for name in ("measure-cold-ohms", "measure-lead-ohms"):
        assert "subtract" in CATALOGUE[name].do
    assert "minimum hold" in CATALOGUE["check-supply-volts"].do
    assert "still at first, then while you bend" in CATALOGUE["measure-cold-ohms"].do
