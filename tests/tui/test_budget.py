"""`ohmvigil budget`: what it prints, and what it says to nonsense."""

import argparse
import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from client.profile import load_profile
from shared.chain import Chain, check_chain
from shared.errors import BadInput
from tui import budget
from tui.budget_facts import FACTS

ROOT = Path(__file__).parent.parent.parent
EXAMPLE = ROOT / "docs" / "chain-example.toml"


def _run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    budget.add_arguments(parser)
    return budget.run(parser.parse_args(words))


def _json(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    assert _run(*words, "--json") == 0
    chains: list[dict[str, Any]] = json.loads(capsys.readouterr().out)["chains"]
    return chains


def test_every_chain_fact_has_an_option() -> None:
    """The table that `--help` can read without imports holds every key of a chain."""
    assert list(FACTS) == [key for key in Chain.__struct_fields__ if key != "told"]
    fields = {field.name: field for field in msgspec.structs.fields(Chain)}
    for key, (kind, _) in FACTS.items():
        default = fields[key].default
        if default is not None:
            choices = kind if isinstance(kind, tuple) else None
            assert default in choices if choices else type(default) is kind


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--with", "wires=3,capacitance_nf=400"),
        ("--with", "wires=3", "--with", "r0_ohm=1000,reference_ohm=4300"),
        ("--more", "--chart", "--at", "350", "--tolerance", "AA", "--host-reference-ohm", "400"),
    ],
)
def test_a_page_is_80_columns_of_plain_text(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """No line is longer, and no escape code is in it."""
    assert _run(*words) == 0
    page = capsys.readouterr().out
    assert "\x1b" not in page
    assert max(map(len, page.splitlines())) <= 80


@pytest.mark.parametrize("words", [(), ("--with", "wires=3,capacitance_nf=400")])
def test_the_usual_pages_fit_one_screen(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """80 × 24."""
    _run(*words)
    assert len(capsys.readouterr().out.splitlines()) <= 24


def test_both_chains_of_the_readme_come_out_as_computed_by_hand(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """docs/chain.md does the arithmetic: leads 0.849 Ω = 2.31 °C, corners 12.8 and 3.2 kHz."""
    bare, better = _json(capsys, "--at", "210", "--with", "wires=3,capacitance_nf=400")
    leads = {each["name"]: each for each in bare["offsets"]}["leads"]
    assert leads["ohm"] == pytest.approx(0.849, abs=0.001)
    assert leads["celsius"] == pytest.approx(2.31, abs=0.01)
    assert bare["filter"]["corner_hz"] == pytest.approx(12.78e3, rel=0.005)
    assert better["filter"]["corner_hz"] == pytest.approx(3.19e3, rel=0.005)
    assert {each["name"]: each for each in better["offsets"]}["leads"]["celsius"] == pytest.approx(
        0.0, abs=1e-9
    )
    assert bare["expanded_c"] == pytest.approx(1.69, abs=0.005)
    assert bare["monte_carlo_agrees"] is True


def test_differences_come_first(capsys: pytest.CaptureFixture[str]) -> None:
    """The facts that differ stand above all results, and what is alike at the end."""
    _run("--with", "wires=3,capacitance_nf=400")
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("What differs")
    assert lines[2].split() == ["wires", "2", "3"]
    assert lines[3].split() == ["capacitance_nf", "100", "400"]
    assert any(line.startswith("Alike:") for line in lines[8:])


# What is wrong: the words that the one line must hold.
@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--lead-m", "-1"), ("--lead-m", "-1", "0 or more")),
        (("--lead-m", "nan"), ("--lead-m", "nan", "0 or more")),
        (("--wires", "5"), ("--wires", "5", "2, 3, 4")),
        (("--reference-ohm", "150"), ("--reference-ohm", "150", "more than 180.4")),
        (("--reference-ohm", "0"), ("--reference-ohm", "0", "more than 0")),
        (("--wanted", "0:850", "--reference-ohm", "300"), ("--reference-ohm", "300", "391.3")),
        (("--bits", "3"), ("--bits", "3", "8 to 24")),
        (("--lead-awg", "30", "--lead-mm2", "0.5"), ("--lead-awg", "told twice", "--lead-mm2")),
        (("--bits", "x"), ("--bits", "x", "whole number")),
        (("--at", "nan"), ("--at", "nan", "-200 to 850")),
        (("--at", "1000"), ("--at", "1000", "-200 to 850")),
        (("--wanted", "300:0"), ("--wanted", "300", "LOW:HIGH")),
        (("--strapped-for", "3"), ("--strapped-for", "2 wires", "--bridged")),
        (("--with", "lead_m=-1"), ("--with", "--lead-m", "-1", "0 or more")),
        (("--with", "wirs=3"), ("--with", "wirs", "did you mean 'wires'")),
        (("--channel", "bed"), ("--channel", "--profile")),
        (("--profile", "no-such.toml"), ("no-such.toml", "no such file")),
        (("--profile", str(EXAMPLE)), ("nozzle, bed, chamber", "--channel")),
        (
            (
                "--with",
                "wires=3",
            )
            * 3,
            ("--with", "4 chains", "at most 3"),
        ),
    ],
)
def test_nonsense_gets_a_line_that_names_value_and_bound(
    words: tuple[str, ...], parts: tuple[str, ...]
) -> None:
    """One line for exit code 2, never a traceback."""
    with pytest.raises(BadInput) as caught:
        _run(*words)
    line = str(caught.value)
    assert "\n" not in line
    for part in parts:
        assert part in line


def test_the_example_profile_loads_and_names_every_key() -> None:
    """docs/chain-example.toml is valid, and its first chain is made of the defaults."""
    chains = load_profile(EXAMPLE).chains
    assert list(chains) == ["nozzle", "bed", "chamber"]
    for chain in chains.values():
        check_chain(chain)
    assert msgspec.structs.replace(chains["nozzle"], told=None) == Chain()
    text = EXAMPLE.read_text(encoding="utf-8")
    assert all(f"{key} =" in text for key in FACTS)


def test_a_saved_chain_can_be_compared(capsys: pytest.CaptureFixture[str]) -> None:
    """`--profile FILE --channel A --with FILE:B`, and an option beside changes the first."""
    words = ("--profile", str(EXAMPLE), "--channel", "nozzle", "--lead-m", "0.5")
    first, second = _json(capsys, *words, "--with", f"{EXAMPLE}:chamber")
    assert first["chain"]["lead_m"] == 0.5
    assert second["chain"]["r0_ohm"] == 1000.0


def test_a_wrong_key_in_a_profile_names_file_line_and_key(tmp_path: Path) -> None:
    """As every profile error does."""
    path = tmp_path / "mine.toml"
    path.write_text("format = 1\n[channels.nozzle.chain]\nlead_m = -1.0\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r"mine\.toml:3: channels\.nozzle\.chain\.lead_m"):
        _run("--profile", str(path))


def test_the_documentation_shows_the_commands_real_output(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Both pages in docs/chain.md are what the commands print today."""
    text = (ROOT / "docs" / "chain.md").read_text(encoding="utf-8")
    for words in ((), ("--with", "wires=3,capacitance_nf=400")):
        _run(*words)
        assert capsys.readouterr().out.strip() in text
