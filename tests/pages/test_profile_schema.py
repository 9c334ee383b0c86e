"""The schema for editors: true to the structs, and of one mind with the loader."""

import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.pages.profile_schema import profile_schema, text

DOCS = Path(__file__).parents[2] / "docs"
EXAMPLE = (DOCS / "profiles.md").read_text(encoding="utf-8").split("```toml\n")[1].split("```")[0]


def test_the_file_in_docs_is_up_to_date() -> None:
    """If not: python -m tests.pages.profile_schema > docs/profile.schema.json"""
    assert (DOCS / "profile.schema.json").read_text(encoding="utf-8") == text()


def test_it_is_a_schema_by_its_own_metaschema() -> None:
    """The jsonschema library checks it against draft 2020-12."""
    jsonschema.Draft202012Validator.check_schema(profile_schema())


@pytest.fixture(scope="module")
def schema() -> jsonschema.Draft202012Validator:
    """Made once: `jsonschema.validate` would check the schema itself each time."""
    return jsonschema.Draft202012Validator(profile_schema())


@pytest.mark.parametrize(
    "profile",
    [EXAMPLE, (resources.files("client") / "profiles" / "simulated.toml").read_text("utf-8")],
)
def test_good_profiles_fit(profile: str, schema: jsonschema.Draft202012Validator) -> None:
    """The example of the docs, and the built-in one."""
    schema.validate(tomllib.loads(profile))


@pytest.mark.parametrize(
    "change",
    [
        {"format": 2},
        {"adresses": []},
        {"silence_s": "long"},
        {"framing": "carrier pigeon"},
        {"channels": {"nozzle": {"temprature_c": "/t"}}},
        {"channels": {"nozzle": {"temperature_c": {"at": "/t", "unit": "furlong"}}}},
        {"channels": {"nozzle": {"chain": {"wires": 5}}}},
        {"updates": [{"metod": "x"}]},
    ],
)
def test_bad_ones_do_not(change: dict[str, Any], schema: jsonschema.Draft202012Validator) -> None:
    """Unknown keys, wrong types and words that are not in the lists."""
    with pytest.raises(jsonschema.ValidationError):
        schema.validate(tomllib.loads(EXAMPLE) | change)
