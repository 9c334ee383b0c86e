"""Every command that the README and the docs show is one that ohmvigil takes."""

import re
import shlex
from pathlib import Path

import pytest

from tui.main import parser

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
LINE = re.compile(r"^ +(?:\$ )?ohmvigil ([a-z].*)$", re.MULTILINE)
REMARK = re.compile(r" {3,}\S.*$|  ?# .*$")
"""What a page says of a command, set apart from it by spaces or a hash."""


def commands() -> list[str]:
    """Commands of all pages, without what may be left out marked as such."""
    found = []
    for page in PAGES:
        for line in LINE.findall(page.read_text(encoding="utf-8")):
            words = REMARK.sub("", line)
            found.append(re.sub(r"[][]", "", words))
    return list(dict.fromkeys(found))


@pytest.mark.parametrize("command", commands())
def test_a_command_of_the_docs_is_understood(command: str) -> None:
    options = parser().parse_args(shlex.split(command))
    assert options.command


def test_there_are_many_commands() -> None:
    assert len(commands()) > 30
