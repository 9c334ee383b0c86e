"""quiet/busy and swap: states that are recognised, counts that are compared."""

import pytest

from detectors.measured.bench import Bench
from detectors.measured.busy import Load, QuietBusy
from detectors.measured.swap import Swap
from shared.updates import Value
from tests.detectors.measured.rows import fed, rows
from tests.levels import first

STATE_S = 180.0
PLAN = (Load.OFF, Load.HOLDING, Load.MOVING, Load.HEATER, Load.FAN)


def load_at(time_s: float) -> Load:
    return PLAN[min(int(time_s / STATE_S), len(PLAN) - 1)]


def machine(time_s: float) -> dict[str, Value]:
    load = load_at(time_s)
    return {
        "motion.speed_mm_s": 80.0 if load is Load.MOVING else 0.0,
        "nozzle.power": 0.5 if load is Load.HEATER else 0.0,
        "fan.speed": 0.6 if load is Load.FAN else 0.0,
    }


def measured(louder: dict[Load, float], seed: int = 1) -> QuietBusy:
    """All five states in turn; noise of some of them times a factor."""
    check = QuietBusy("nozzle", Bench({}))
    log = rows(
        STATE_S * len(PLAN),
        {"nozzle": lambda _: 109.0},
        noise=lambda at: 0.8 * louder.get(load_at(at), 1.0),
        also=machine,
        seed=seed,
    )
    for update in log:
        if update.time_s == 0.0:
            check.mark(1)
        if update.time_s == STATE_S:
            check.mark(2)
        check.feed(update)
    return check


def test_states_are_recognised_and_nothing_is_louder() -> None:
    check = measured({})
    assert [pair.load for pair in check.pairs()] == list(PLAN[1:])
    finding = check.progress().finding
    assert finding is not None
    assert [(a.check, a.outcome) for a in finding.answers] == [
        ("motors-off-on", "no-difference"),
        ("loads-off-on", "no-difference"),
    ]


@pytest.mark.parametrize(
    ("louder", "answers"),
    first(
        1,
        [
            ({Load.MOVING: 3.0}, ["moving-only"]),
            ({Load.HOLDING: 2.5, Load.MOVING: 3.0}, ["holding-too"]),
            ({Load.FAN: 3.0}, ["no-difference", "one-channel-noisy"]),
        ],
    ),
)
def test_the_loud_states_are_told(louder: dict[Load, float], answers: list[str]) -> None:
    check = measured(louder)
    finding = check.progress().finding
    assert finding is not None
    assert [answer.outcome for answer in finding.answers] == answers
    for pair in check.pairs():
        assert pair.is_louder is (pair.load in louder)
        assert pair.noise.low < louder.get(pair.load, 1.0) < 1.1 * pair.noise.high


@pytest.mark.slow
def test_equal_noise_is_seldom_called_louder() -> None:
    """Four pairs in each of ten logs at 1 % each: a false one or none."""
    false = sum(pair.is_louder for seed in range(10) for pair in measured({}, seed).pairs())
    assert false <= 1


def test_what_stands_still_is_nothing_before_the_person_says_so() -> None:
    check = QuietBusy("nozzle", Bench({}))
    still = rows(120.0, {"nozzle": lambda _: 109.0}, also=lambda _: {"motion.speed_mm_s": 0.0})
    fed(check, still)
    assert check.pairs() == []
    assert check.progress().finding is None


def swapped(fault_on: str, unplug: bool = True) -> Swap:
    """A jump of 5 Ω each ten seconds: first on the nozzle, later on `fault_on`."""
    check = Swap("nozzle", Bench({}), "bed")

    def jumps(at: float, name: str) -> float:
        is_on = name == ("nozzle" if at < 100.0 else fault_on)
        return 109.0 + 5.0 * (is_on and at % 10.0 < 0.5 and at > 10.0)

    ohms = {name: (lambda at, n=name: jumps(at, n)) for name in ("nozzle", "bed")}
    fed(check, rows(100.0, ohms))
    check.mark(2)
    fed(check, rows(100.0, ohms, from_s=130.0 if unplug else 100.0, seed=2))
    return check


@pytest.mark.parametrize(
    ("fault_on", "outcome"), [("bed", "goes-with-the-cable"), ("nozzle", "stays-with-the-board")]
)
def test_where_the_fault_goes_tells_the_side(fault_on: str, outcome: str) -> None:
    finding = swapped(fault_on).progress().finding
    assert finding is not None
    assert [(a.check, a.outcome) for a in finding.answers] == [("swap-inputs", outcome)]


def test_a_fault_that_is_gone_with_the_exchange_answers_nothing() -> None:
    finding = swapped("neither").progress().finding
    assert finding is not None
    assert finding.answers == ()
    assert "plugging itself" in finding.text


def test_that_nothing_was_unplugged_is_seen() -> None:
    assert "no moment with both unplugged" in swapped("bed", unplug=False).progress().do
    assert "no moment" not in swapped("bed").progress().do
