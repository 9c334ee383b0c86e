"""The chain view: each stage with its live check, and the budget, at every size."""

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pytest

from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from recordings.plain_writer import write_plain_log
from shared.chain import EXAMPLE, Chain
from shared.chainstate import ChainState
from shared.health import ChannelHealth
from tests import scenario_logs
from tests.tui.fakes import FakeSource
from tests.tui.test_layout import SIZES, row_of, shown
from tui.commands.judge import _records, _text, judge
from tui.state import ScreenState, ViewName
from tui.views.chain import present_c

Watched = tuple[tuple[ChannelHealth, ...], tuple[ChainState, ...]]


def source_of(
    name: str, chains: dict[str, Chain] | None = None, for_s: float = 600.0
) -> FakeSource:
    """A screen over a scenario; `chains` None takes the owner's facts."""
    health, states = watched(name, for_s) if chains is None else _watched(name, chains, for_s)
    source = FakeSource()
    source.change(channels=health, chains=states)
    return source


@cache
def watched(name: str, for_s: float) -> Watched:
    """What is known at the end with the owner's facts; not to be changed."""
    return _watched(name, load_scenario(name).chains, for_s)


def _watched(name: str, chains: Mapping[str, Chain], for_s: float) -> Watched:
    watch = Watch(chains)
    watch.feed(scenario_logs.batch(name, 0, for_s))
    return watch.health(), watch.chain_states()


def view(
    source: FakeSource,
    size: tuple[int, int] = (80, 24),
    channel: str = "nozzle",
    ascii_only: bool = False,
) -> list[str]:
    state = ScreenState(view=ViewName.CHAIN, channel=channel)
    return shown(source, size, ViewName.CHAIN, ascii_only, state)


@pytest.mark.parametrize(
    ("name", "stage"), [("wrong-reference", "converter"), ("wrong-wire-count", "leads")]
)
@pytest.mark.parametrize("size", SIZES)
def test_the_stage_that_is_off_says_so_beside_its_name(
    name: str, stage: str, size: tuple[int, int]
) -> None:
    """A word and a glyph under the stage, and the reason first among the lines."""
    lines = view(source_of(name), size)
    if size[0] < 77:
        assert "█ off" in row_of(lines, stage)
        assert sum("█ off" in line for line in lines) == 1
    else:
        names, words = lines[2], lines[3]
        assert words.index("█ off") == names.index(stage)
        assert words.count("█ off") == 1
    first = next(line for line in lines[4:] if line.startswith(stage) and "off  " not in line)
    assert any(word in first for word in ("reads -6.98", "leads add"))


def test_every_stage_of_a_sound_chain_is_ok() -> None:
    """The bed at rest beside others: seven times ok, nothing off, nothing untold."""
    lines = view(source_of("wrong-reference"), channel="bed")
    assert lines[3].count("─ ok") == 7


def test_the_budget_is_that_of_the_documentation() -> None:
    """210 °C with the default chain: +2.40 °C and ± 1.69 °C, worked by hand in docs/chain.md."""
    source = source_of("healthy-print", {"nozzle": EXAMPLE})
    nozzle = FakeSource().now.channels[0]
    source.change(channels=(nozzle,))
    text = " ".join(" ".join(view(source)).split())
    assert "at 210 °C shown +2.40 °C off, ± 1.69 °C (k = 2)" in text
    assert "12.78 kHz, lets through 54 % at 20 kHz" in text
    assert "combined 0.85" in text


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_facts_that_nobody_gave_are_worked_out_or_not_told(size: tuple[int, int]) -> None:
    """Reference and bits stand with a sign that they are about so; the cable is not told."""
    lines = view(source_of("healthy-print", {}), size)
    text = "\n".join(lines)
    assert "facts worked out: no profile gives them" in lines[1]
    assert "≈ 402 Ω" in text
    assert text.count("not told") >= 4
    assert "it needs wires, lead_m, capacitance_nf, wait_ms" in " ".join(text.split())


@pytest.mark.parametrize("size", SIZES)
def test_a_channel_without_facts_or_code_says_what_is_missing_and_how_to_give_it(
    size: tuple[int, int],
) -> None:
    text = " ".join(" ".join(view(source_of("healthy-print"), size, "chamber")).split())
    assert "neither code nor resistance was seen" in text
    assert "[channels.chamber.chain]" in text
    assert "docs/profiles.md" in text


@pytest.mark.parametrize("size", SIZES)
def test_ascii_shows_the_same_words(size: tuple[int, int]) -> None:
    text = "\n".join(view(source_of("wrong-reference"), size, ascii_only=True))
    assert text.isascii()
    assert "# off" in text
    assert "..." not in text.splitlines()[4]


def test_a_wide_screen_shows_every_term_of_the_budget() -> None:
    narrow = " ".join(view(source_of("healthy-print")))
    wide = " ".join(view(source_of("healthy-print"), (120, 40)))
    assert "quantisation" in wide
    assert "quantisation" not in narrow


def test_a_chain_that_hangs_open_gets_no_budget() -> None:
    """Two wires on a board set for three: an input is empty, so nothing true is read."""
    hanging = Chain(wires=2, strapped_for=3)
    text = " ".join(view(source_of("healthy-print", {"nozzle": hanging}), (120, 40)))
    assert "nothing true is read" in text


def test_a_false_reading_does_not_set_the_budgets_temperature() -> None:
    """The fake nozzle reads 988 °C and is false: its target counts."""
    nozzle, bed, *_ = FakeSource().now.channels
    assert present_c(nozzle) == 210.0
    assert present_c(bed) == 59.0
    assert present_c(None) == 25.0


@pytest.mark.parametrize(
    ("name", "stage"), [("wrong-reference", "converter"), ("wrong-wire-count", "leads")]
)
def test_judge_names_the_stage_before_its_verdict(name: str, stage: str, tmp_path: Path) -> None:
    scenario = load_scenario(name)
    path = str(tmp_path / "log.csv")
    write_plain_log(path, [scenario_logs.batch(name, 0, 600.0)])
    judged = judge(path, scenario.chains)
    records = [json.loads(line) for line in _records(judged)]
    kinds = [record["record"] for record in records]
    assert kinds[-3:] == ["chain", "chain", "verdict"]
    nozzle = next(one for one in records if one["record"] == "chain" and one["channel"] == "nozzle")
    assert [one["stage"] for one in nozzle["stages"] if one["finding"] == "off"] == [stage]
    assert nozzle["cold"]["is_off"]
    assert nozzle["noise"]["finding"] == "as expected"
    lines = _text(judged)
    assert any(line.startswith("chain nozzle: ") and f"{stage} off" in line for line in lines)
    assert any(line.startswith(f"  off: {stage}: ") for line in lines)
