"""Who may know whom, and what the command line may load before it knows what is wanted."""

import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import client
import detectors
import recordings
import shared
import tui

ROOT = Path(tui.__file__).parent.parent
HEAVY = ("textual", "rich", "numpy", "websockets", "msgspec", "asyncio")


def loaded_after(code: str) -> set[str]:
    """Top-level modules that a fresh interpreter holds after running `code`."""
    script = f"{code}\nimport sys\nprint(*sorted({{n.split('.')[0] for n in sys.modules}}))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(done.stdout.splitlines()[-1].split())


def test_import_arrows_point_down() -> None:
    """The contract in pyproject.toml holds: from tui down to shared, and never sideways."""
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"],
        check=False,
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout


def test_nothing_below_the_screens_loads_a_screen_library() -> None:
    """Every module of client, detectors, recordings and shared is free of textual and rich."""
    names = [
        module.name
        for package in (client, detectors, recordings, shared)
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
    ]
    assert len(names) > 30
    loaded = loaded_after("\n".join(f"import {name}" for name in names))
    assert not loaded & {"textual", "rich", "argparse"}


def test_help_loads_nothing_heavy() -> None:
    """`ohmvigil --help` answers as fast as Python starts, since it loads argparse alone."""
    loaded = loaded_after(
        "import tui.main\ntry:\n    tui.main.run(['--help'])\nexcept SystemExit:\n    pass"
    )
    assert not loaded & set(HEAVY)


def test_the_top_level_holds_nothing_else() -> None:
    """The folders and pages that the project has, and dotfiles: no log that somebody left there."""
    listed = subprocess.run(
        ["git", "ls-files"], check=False, capture_output=True, text=True, cwd=ROOT
    )
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    if not top:
        pytest.skip("no checkout")
    pages = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml"}
    folders = {"tui", "client", "detectors", "tests", "recordings", "shared", "docs"}
    assert {name for name in top if not name.startswith(".")} == pages | folders
