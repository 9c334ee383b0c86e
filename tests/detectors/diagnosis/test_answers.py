"""What came of a change is evidence, as an answer is."""

import msgspec
import pytest

from detectors.diagnosis import Answer
from detectors.diagnosis.answers import answers_of
from detectors.trials.compared import TrialOutcome
from tests.tui.test_guide import TRIALS


@pytest.mark.parametrize(
    ("outcome", "count", "result"),
    [
        (TrialOutcome.BETTER, 0, "gone"),
        (TrialOutcome.BETTER, 3, "fewer"),
        (TrialOutcome.NO_CHANGE, 9, "same"),
        (TrialOutcome.WORSE, 30, "same"),
        (TrialOutcome.TOO_EARLY, 0, None),
    ],
)
def test_a_change_of_the_catalogue_is_evidence_unless_it_is_too_early(
    outcome: TrialOutcome, count: int, result: str | None
) -> None:
    """Unless the person has answered it by hand."""
    changed = msgspec.structs.replace(
        TRIALS[1], change="add-capacitance", outcome=outcome, count=count
    )
    found = [(one.channel, one.check, one.outcome) for one in answers_of([TRIALS[0], changed])]
    assert found == ([("nozzle", "add-capacitance", result)] if result else [])
    answer = Answer(channel="nozzle", check="add-capacitance", outcome="gone")
    assert answers_of([TRIALS[0], changed], [answer]) == ()
    assert answers_of([TRIALS[0], msgspec.structs.replace(changed, change="reseat-bus")]) == ()
