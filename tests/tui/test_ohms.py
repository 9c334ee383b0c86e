"""`ohmvigil ohms`, and the tables of docs/wiring.md held against it and against the world."""

import argparse
import json
import re
from pathlib import Path
from typing import Any

import pytest
from rtd_sensor import pt100, pt1000

from shared.errors import BadInput
from tui import main, ohms

PAGE = (Path(__file__).parents[2] / "docs" / "wiring.md").read_text(encoding="utf-8")
COPPER = {
    **{"AWG 22": 0.05295, "AWG 24": 0.08422, "AWG 26": 0.13389, "AWG 28": 0.21293},
    **{"AWG 30": 0.33858, "AWG 32": 0.53839},
    **{"0.5 mm²": 0.0390, "0.75 mm²": 0.0260, "1 mm²": 0.0195},
}
"""Ω/m at 20 °C: round copper wire table, and IEC 60228 class 5 (secondary source)."""


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    ohms.add_arguments(parser)
    return ohms.run(parser.parse_args(words))


def rows(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    assert run(*words, "--json") == 0
    found: list[dict[str, Any]] = json.loads(capsys.readouterr().out)["rows"]
    return found


def table(head: str) -> list[list[str]]:
    """Cells of the page's table whose first column is so headed."""
    _, _, rest = PAGE.partition(f"| {head} |")
    body = rest.partition("\n\n")[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("| ").split("|")] for line in body]


def test_the_element_table_is_the_standards(capsys: pytest.CaptureFixture[str]) -> None:
    """IEC 60751 by rtd-sensor, an independent library, and the same by the command."""
    found = table("°C")
    assert [float(cells[0]) for cells in found] == [15.0, 20.0, 23.0, 25.0, 30.0]
    for at, one, ten in found:
        assert float(one) == pytest.approx(pt100.celsius_to_resistance(float(at)), abs=0.006)
        assert float(ten) == pytest.approx(pt1000.celsius_to_resistance(float(at)), abs=0.06)
    for element, place, places in (("pt100", 1, 2), ("pt1000", 2, 1)):
        told = rows(capsys, "--element", element, "--length", "0")
        shown = [f"{row['pairs'][0]['ohm']:.{places}f}" for row in told]
        assert shown == [cells[place] for cells in found]


def test_the_lead_table_is_the_wire_tables(capsys: pytest.CaptureFixture[str]) -> None:
    """Copper as published, pairs and sums by the command at 20 °C of copper."""
    found = table("one lead")
    assert [cells[0] for cells in found] == list(COPPER)
    for name, metre, pair, one, ten, high in found:
        assert float(metre) == pytest.approx(COPPER[name], abs=2e-4)
        size = ("--awg", name[4:]) if name.startswith("AWG") else ("--mm2", name[:-4])
        wiring = ("--wires", "3", "--length", "1", "--copper", "20", "--at", "23", *size)
        small, big = (
            {
                each["pair"]: each["ohm"]
                for each in rows(capsys, "--element", r0, *wiring)[0]["pairs"]
            }
            for r0 in ("pt100", "1000")
        )
        assert format(small["A-A'"], ".3f") == pair
        assert (f"{small['A-B']:.2f}", f"{big['A-B']:.1f}") == (one, ten)
        for told, ohm, library in zip(
            re.findall(r"[\d.]+", high)[:2], (small, big), (pt100, pt1000), strict=True
        ):
            read_c = library.resistance_to_celsius(ohm["A-B"])
            assert float(told) == pytest.approx(read_c - 23.0, abs=0.006)


def test_a_page_is_80_columns_and_says_what_to_mind(capsys: pytest.CaptureFixture[str]) -> None:
    """For any wire count."""
    for wires in "234":
        assert run("--wires", wires, "--element", "pt1000", "--mm2", "0.5") == 0
        page = capsys.readouterr().out
        assert max(map(len, page.splitlines())) <= 82
        assert "unplugged" in page
        assert "licensed" in page


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--element", "pt7"), "--element"),
        (("--element", "nan"), "--element"),
        (("--wires", "5"), "--wires"),
        (("--awg", "26.5"), "--awg"),
        (("--awg", "26", "--mm2", "0.5"), "--mm2"),
        (("--length", "-1"), "--length"),
        (("--at", "nan"), "--at"),
        (("--at", "900"), "--at"),
        (("--copper", "warm"), "--copper"),
    ],
)
def test_bad_input_is_one_line_that_names_the_option(words: tuple[str, ...], named: str) -> None:
    with pytest.raises(BadInput, match=named):
        run(*words)


def test_the_command_line_ends_bad_input_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr."""
    assert main.run(["ohms", "--wires", "5"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("ohmvigil: --wires: ")
    assert said.count("\n") == 1


def test_every_line_of_advice_on_the_page_says_what_it_rests_on() -> None:
    """A standard or table, computed here, practice, or memory."""
    advice = re.findall(r"^- (.+(?:\n  .+)*)", PAGE, re.MULTILINE)
    assert len(advice) > 25
    for line in advice:
        assert re.search(r"\[(C|P|M|reference tables)[^]]*\]|\[P; ", line), line


def test_the_page_names_cut_out_earth_and_the_licensed() -> None:
    """What keeps people whole stands at its top."""
    top = PAGE.partition("## Ohms")[0]
    for words in ("independent thermal cut-out", "bonded to protective earth", "licensed"):
        assert words in top
