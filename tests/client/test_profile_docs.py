"""The page on profiles names every key and unit, and its example loads."""

from pathlib import Path

import pytest

from client import form
from client.mapping import Mapper
from client.profile import load_profile
from client.units import UNITS
from shared.updates import Entry, EntryKind, Value

PAGE = (Path(__file__).parents[2] / "docs" / "profiles.md").read_text(encoding="utf-8")
TABLES = (
    form.Profile,
    form.Request,
    form.KeepAlive,
    form.Token,
    form.UpdateSource,
    form.Reading,
    form.Item,
    form.Channel,
    form.MessageRule,
)


@pytest.mark.parametrize("table", TABLES)
def test_every_key_is_explained(table: type[form.Profile]) -> None:
    """As code in the text, or as the header of its section."""
    for key in table.__struct_fields__:
        named = (f"`{key}`", f"`[{key}]`", f"`[[{key}]]`", f"`[{key}.", f"{{ {key}, ", f" {key}, ")
        assert any(name in PAGE for name in (*named, f", {key} }}")), key


def test_every_unit_is_listed() -> None:
    """Each in code marks."""
    assert [unit for unit in UNITS if unit and f"`{unit}`" not in PAGE] == []


def test_the_example_is_a_good_profile(tmp_path: Path) -> None:
    """It loads as it stands."""
    path = tmp_path / "attic.toml"
    path.write_text(PAGE.split("```toml\n")[1].split("```")[0])
    assert load_profile(path).chains["nozzle"].wires == 3


def test_the_example_of_two_kinds_of_messages_reads_them(tmp_path: Path) -> None:
    """The messages are those in its own comments; a trip as a text comes after."""
    text = PAGE.split("```toml\n")[2].split("```")[0]
    path = tmp_path / "attic.toml"
    path.write_text(text)
    mapper, held = Mapper(load_profile(path)), dict[str, Value]()
    said = [line[2:] for line in text.splitlines() if line.startswith("# {")]

    def hear(*messages: str) -> None:
        for own_s, message in enumerate(messages):
            for update in mapper.feed(Entry(5.0 + own_s, EntryKind.MESSAGE, message.encode())):
                held.update(update.values)

    hear(*said)
    assert held == {
        "nozzle.temperature_c": 209.97,
        "nozzle.target_c": 210.0,
        "host.state": "up",
        "host.message": "all is well",
    }
    hear('{"tell": {"line": "Heat guard opened: all heaters are without current"}}')
    assert held["host.state"] == "halted"
