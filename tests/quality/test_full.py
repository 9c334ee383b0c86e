"""The whole bench, at its smallest, gives a page; without outsiders it says so."""

import pytest

from tests.quality import full, outsiders
from tests.quality.report import page

TINY = full.Sizes(
    cases=1, singly=1, outside=1, hours=5.0, outside_hours=0.0, tuning_hours=0.0, night_h=0.5,
    plays=1, nights=0, draws=1, links=1,
)  # fmt: skip


@pytest.mark.slow
def test_the_page_is_made_without_outsiders_and_names_what_is_missing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every section is there; the comparison is one clear line."""
    monkeypatch.setattr(outsiders, "missing", lambda: ["river"])
    found = full.measured(TINY, workers=1)
    text = page(found, "make quality", None)
    assert "no comparison: river not installed" in capsys.readouterr().err
    assert "Not made: river not installed." in text
    for title in (
        "Found",
        "False alarms",
        "scenarios",
        "seen beside it",
        "The diagnosis",
        "a bad link",
    ):
        assert f"{title}\n" in text
    assert "| code-high | any | 1 of 1 | 1.000 |" in text
    assert all(line == line.rstrip() for line in text.split("\n"))
