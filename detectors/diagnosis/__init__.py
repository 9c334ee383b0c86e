"""From events to likely causes, evidence and the next check."""

from detectors.diagnosis.answers import Answer
from detectors.diagnosis.diagnose import diagnose
from detectors.diagnosis.verdict import verdict

__all__ = ["Answer", "diagnose", "verdict"]
