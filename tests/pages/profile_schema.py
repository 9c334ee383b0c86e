"""JSON Schema (2020-12) of a profile, for editors that check and complete TOML.

python -m tests.pages.profile_schema > docs/profile.schema.json
"""

import json
from typing import Any

import msgspec

from client.form import Profile
from client.units import UNITS


def profile_schema() -> dict[str, Any]:
    """The schema, from the same structs that a profile is read into."""
    schema = msgspec.json.schema(Profile)
    definitions = schema["$defs"]
    definitions["Reading"]["properties"]["unit"]["enum"] = list(UNITS)
    del definitions["Chain"]["properties"]["told"]
    for definition in definitions.values():
        if "description" in definition:
            definition["description"] = " ".join(definition["description"].split())
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "ohmvigil profile",
        **schema,
    }


def text() -> str:
    """The schema as a file holds it."""
    return json.dumps(profile_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    print(text(), end="")
