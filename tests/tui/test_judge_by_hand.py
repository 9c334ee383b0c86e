"""Plain logs of another physics: `judge --json` names the right cause, in three dialects.

The logs are made by `tests.detectors.diagnosis.handmade`, which shares nothing with the
simulated host: what is right here is right for other machines and hosts too.
"""

import json
from pathlib import Path

import pytest

from recordings.plain_writer import write_plain_log
from shared.chain import Chain
from shared.updates import batch_of
from shared.words import Cause
from tests.detectors.diagnosis.handmade import DIALECTS, Row, Story, rows_of, told
from tests.detectors.diagnosis.stories import Known, low_stories, stories
from tests.levels import first, one_in
from tests.shared_work import once
from tui.main import run

BARE = {
    Cause.CABLE_PICKUP: 2,
    Cause.GROUND_LOOP: 2,
    Cause.WIRE_COUNT_SETTING: 2,
}
"""Without chain facts nothing tells these from a likelier cause: they stand second."""


def rows_once(name: str, story: Story) -> list[Row]:
    """The rows of a story, made once a run for all dialects and tests."""
    return once(f"rows by hand of {name}", lambda: rows_of(story))


def causes_of(
    folder: Path,
    rows: list[Row],
    dialect: str,
    chain: Chain | None,
    capsys: pytest.CaptureFixture[str],
) -> list[dict[str, object]]:
    """Records of causes, from a CSV file and, with a chain, a profile beside it."""
    log = folder / "log.csv"
    write_plain_log(log, [batch_of(told(rows, dialect))])
    options: list[str] = []
    if chain is not None:
        profile = folder / "printer.toml"
        profile.write_text(profile_of(chain), encoding="utf-8")
        options = ["--profile", str(profile)]
    assert run(["judge", str(log), "--json", *options]) in (0, 1)
    records = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    return [record for record in records if record["record"] == "cause"]


def profile_of(chain: Chain) -> str:
    """A profile with these facts of the nozzle's chain."""
    facts = {
        "r0_ohm": chain.r0_ohm,
        "wires": chain.wires,
        "lead_awg": chain.lead_awg,
        "lead_m": chain.lead_m,
        "capacitance_nf": chain.capacitance_nf,
        "screened": str(chain.screened).lower(),
        "bus": f'"{chain.bus}"',
        "bus_m": chain.bus_m,
    }
    lines = [f"{key} = {value}" for key, value in facts.items()]
    head = ["format = 1", 'title = "by hand"', 'addresses = ["ws://127.0.0.1:1"]']
    updates = ["[[updates]]", 'method = "news"', 'status = "/params/0"']
    channels = ["[channels.nozzle]", 'temperature_c = "/t"', "[channels.nozzle.chain]"]
    return "\n".join([*head, *updates, *channels, *lines, ""])


def place_of(cause: Cause, channels: tuple[str, ...], found: list[dict[str, object]]) -> int:
    """Best place of a cause among those of the channels where it shows; 99 where it is not."""
    places = [99]
    for channel in channels:
        order = [record["cause"] for record in found if record["channel"] == channel]
        places += [order.index(cause) + 1] if cause in order else []
    return min(places)


@pytest.mark.parametrize("dialect", first(1, DIALECTS))
@pytest.mark.parametrize("cause", one_in(7, stories()))
def test_the_cause_leads_in_a_log_of_another_physics(
    cause: Cause, dialect: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """First where its host tells enough, among the first two or three where it does not."""
    known: Known = stories()[cause]
    found = causes_of(tmp_path, rows_once(cause, known.story), dialect, known.chain, capsys)
    assert place_of(cause, known.channels, found) <= known.places.get(dialect, 1)


@pytest.mark.parametrize("dialect", first(1, ["full", "still"]))
@pytest.mark.parametrize("story", one_in(3, low_stories()))
def test_what_reads_low_is_told_from_a_short_and_from_the_bus(
    story: str, dialect: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Leads of three wires, terminals without a wire and a tenth of the ohms: low, and why."""
    cause, known = low_stories()[story]
    found = causes_of(tmp_path, rows_once(story, known.story), dialect, known.chain, capsys)
    least = 2 if (cause, dialect) == (Cause.BROKEN_LEAD, "still") else 1
    assert place_of(cause, known.channels, found) <= least


@pytest.mark.parametrize("cause", one_in(11, stories()))
def test_without_chain_facts_only_what_they_tell_is_lost(
    cause: Cause, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A log that came with nothing beside it."""
    known = stories()[cause]
    found = causes_of(tmp_path, rows_once(cause, known.story), "full", None, capsys)
    assert place_of(cause, known.channels, found) <= BARE.get(cause, 1)


@pytest.mark.parametrize("dialect", first(1, DIALECTS))
def test_a_healthy_machine_of_another_physics_has_no_cause(
    dialect: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Heat, print, rest, print, cool: nothing to explain."""
    assert not causes_of(tmp_path, rows_once("no fault", Story()), dialect, Chain(wires=3), capsys)
