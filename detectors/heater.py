"""Window detectors that share a heat model: they go on window by window, together.

What the model has learned by a window is what that window is judged by.
"""

from detectors.closed import ClosedWindows
from detectors.detector import Say
from detectors.heatmodel import HeatModel
from detectors.kinds.beat import BeatDetector
from detectors.kinds.drift import DriftDetector
from detectors.kinds.norise import NoRiseDetector
from detectors.plan import ChannelPlan
from shared.events import NotEvaluated


class HeaterDetectors:
    """One channel's heat model, and what judges by it."""

    def __init__(self, plan: ChannelPlan) -> None:
        self.model = HeatModel()
        self.beat = BeatDetector(plan, self.model)
        self.of_power = NoRiseDetector(plan, self.model), DriftDetector(plan)

    def run(self, closed: ClosedWindows, say: Say) -> None:
        for index in closed.present:
            if closed.has_power:
                window = closed[index]
                self.model.step(window)
                for detector in self.of_power:
                    detector.step(window, say)
            self.beat.step(closed, index, say)

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        every = (*self.of_power, self.beat)
        return [why for detector in every for why in detector.not_evaluated()]
