"""What docs/simulated-host.md says is what the code does."""

import json
import re
from pathlib import Path
from typing import get_args

from client.simulated.faults import AnyFault
from client.simulated.machine import Machine
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import load_scenario, scenario_names

DOC = (Path(__file__).parents[3] / "docs" / "simulated-host.md").read_text(encoding="utf-8")


def fenced(language: str) -> str:
    found = re.search(rf"```{language}\n(.*?)```", DOC, re.DOTALL)
    assert found
    return found[1]


def test_the_scenario_file_in_the_text_is_one(tmp_path: Path) -> None:
    """It loads as it stands."""
    path = tmp_path / "example.toml"
    path.write_text(fenced("toml"), encoding="utf-8")
    scenario = load_scenario(path)
    assert scenario.faults
    assert scenario.channels.nozzle.believed_chain.reference_ohm == 400.0


def test_the_picture_in_the_text_has_the_paths_that_are_sent() -> None:
    """Every path with its kind of value, no more and no less; and each has its row in the table."""
    machine = Machine(load_scenario("loose-terminal"))
    machine.advance()
    shown = {path: type(value) for path, value in json.loads(fenced("json"))}
    assert shown.keys() == machine.known.keys()
    for path, value in machine.known.items():
        assert issubclass(shown[path], str if isinstance(value, str) else object)
        assert (shown[path] is list) is isinstance(value, list)
        channel, _, quantity = path.partition(".")
        assert f"`{path}`" in DOC or f"`*.{quantity}`" in DOC or f"`{channel}.*`" in DOC


def test_the_rate_in_the_text_is_the_hosts() -> None:
    """In the answer, and in words."""
    assert f'"every_s":{PERIOD_S}' in DOC
    assert f"Every {PERIOD_S} s" in DOC


def test_every_scenario_and_every_fault_is_in_a_table() -> None:
    """A row begins with its name."""
    rows = set(
        re.findall(r"`([a-z-]+)`", " ".join(re.findall(r"^\| (`[^|]*)\|", DOC, re.MULTILINE)))
    )
    faults = {str(kind.__struct_config__.tag) for kind in get_args(AnyFault)}
    assert set(scenario_names()) <= rows
    assert faults <= rows


def test_every_default_of_a_fault_in_the_table_is_the_code_s() -> None:
    """`per_min` (10) means that the struct's default is 10."""
    for kind in get_args(AnyFault):
        row = re.search(rf"^\| `{kind.__struct_config__.tag}` \|([^|]*)\|", DOC, re.MULTILINE)
        for key, default in re.findall(r"`(\w+)` \(([\d.]+)", row[1] if row else ""):
            defaults = dict(
                zip(
                    kind.__struct_fields__[-len(kind.__struct_defaults__) :],
                    kind.__struct_defaults__,
                    strict=True,
                )
            )
            if key in defaults:
                assert defaults[key] == float(default), (kind, key)
