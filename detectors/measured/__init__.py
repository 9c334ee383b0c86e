"""Checks that the tool measures while a person wiggles, heats, switches or exchanges."""

from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Choice, Measured, Progress
from detectors.measured.guide import GUIDED, Guided, guided

__all__ = ["GUIDED", "Bench", "CheckFinding", "Choice", "Guided", "Measured", "Progress", "guided"]
