"""The page on profiles names every key and unit, and its example loads."""

from pathlib import Path

import pytest

from client import form
from client.profile import load_profile
from client.units import UNITS

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
