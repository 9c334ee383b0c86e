"""Scenario files: what comes with the program is sound, and mistakes name their line."""

from pathlib import Path

import pytest

from client.simulated.scenario import load_scenario, scenario_names
from shared.errors import BadInput

HEAD = 'title = "t"\nshows = "s"\n[expect]\nhealthy = true\n'


def refusal(tmp_path: Path, text: str) -> str:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    with pytest.raises(BadInput) as caught:
        load_scenario(path)
    return str(caught.value).removeprefix(f"{tmp_path}/")


@pytest.mark.parametrize("name", scenario_names())
def test_every_scenario_that_comes_along_is_sound(name: str) -> None:
    """It loads, says what it shows, and says what to expect."""
    scenario = load_scenario(name)
    assert scenario.name == name
    assert scenario.title
    assert scenario.shows
    expect = scenario.expect
    assert expect.healthy or (expect.kinds and expect.cause and expect.channel)


def test_chains_are_what_the_owner_believes() -> None:
    """The reference that is fitted is not the one that is believed."""
    scenario = load_scenario("wrong-reference")
    assert scenario.channels.nozzle.chain.reference_ohm == 432.0
    assert scenario.chains["nozzle"].reference_ohm == 402.0
    assert scenario.chains["bed"].reference_ohm == 402.0


def test_a_name_that_is_none_is_answered_by_the_nearest() -> None:
    """A slip of the finger."""
    with pytest.raises(BadInput, match="did you mean 'loose-terminal'"):
        load_scenario("lose-terminal")


def test_a_scenario_may_be_a_file_of_ones_own(tmp_path: Path) -> None:
    """By path."""
    path = tmp_path / "mine.toml"
    path.write_text(HEAD)
    assert load_scenario(str(path)).title == "t"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[faults]]\nkind = 'opn'\n", "mine.toml:6: faults[0].kind: 'opn' is not allowed; did"),
        (
            "[[faults]]\nkind = 'open'\nchannel = 'nozel'\n",
            "mine.toml:7: faults[0].channel: 'nozel' is not allowed; did you mean 'nozzle'?",
        ),
        (
            "[[faults]]\nkind = 'stall'\nfor = 3\n",
            "mine.toml:7: faults[0].for: unknown key; did you mean 'for_s'?",
        ),
        (
            "[[faults]]\nkind = 'halt'\nremark = ''\nat_s = 9\nuntil_s = 3\n",
            "mine.toml:8: faults[0].at_s: ends before it begins",
        ),
        (
            "[[faults]]\nkind = 'open'\nchannel = 'bed'\nlead = 'sense+'\n",
            "mine.toml:8: faults[0].lead: 2 wires have no lead 'sense+'; name one of force+",
        ),
        ("[[steps]]\nat_s = 5\n[[steps]]\nat_s = 4\n", "mine.toml:8: steps[1].at_s: earlier"),
        (
            "[channels.nozzle.chain]\n[channels.nozzle.believed]\nwire = 2\n",
            "mine.toml:7: channels.nozzle.believed.wire: unknown key; did you mean 'wires'?",
        ),
        (
            "[channels.nozzle.chain]\n[channels.nozzle.believed]\nwires = 7\n",
            "mine.toml:7: channels.nozzle.believed.wires: ",
        ),
        (
            "[channels.bed.chain]\nreference_ohm = -4\n",
            "mine.toml:6: channels.bed.chain.reference_ohm: is -4; it must be more than 0",
        ),
        ("[start]\nroom_c = nan\n", "mine.toml:6: start.room_c: nan is not a finite number"),
        ("kinds = ['step']\n", "mine.toml:3: expect: needs either healthy = true or kinds"),
    ],
)
def test_a_mistake_names_file_line_and_key(tmp_path: Path, text: str, message: str) -> None:
    """One line that says where and what to do."""
    assert refusal(tmp_path, HEAD + text).startswith(message)
