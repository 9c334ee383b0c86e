"""Window detectors that share a heat model: they go on window by window, together.

What the model has learned by a window is what that window is judged by.
"""

import math

from detectors.detector import Say, WindowDetector
from detectors.heat.heatmodel import HeatModel
from detectors.kinds.beat import BeatDetector
from detectors.kinds.drift import DriftDetector
from detectors.kinds.norise import NoRiseDetector
from detectors.kinds.untold import UntoldDetector
from detectors.table.closed import ClosedWindows
from detectors.table.plan import ChannelPlan
from shared.events import NotEvaluated


class HeaterDetectors(WindowDetector):
    """One channel's heat model, and what judges by it."""

    def __init__(self, plan: ChannelPlan) -> None:
        self.model = HeatModel()
        self.beat = BeatDetector(plan, self.model)
        self.of_power = NoRiseDetector(plan, self.model), DriftDetector(plan)
        self.untold = UntoldDetector(plan)
        self._has_power = False

    def run(self, closed: ClosedWindows, say: Say) -> None:
        power = closed.column("power") if closed.has_power else []
        for index in closed.present:
            # Window by window: results must not depend on how windows come together.
            self._has_power = self._has_power or (closed.has_power and not math.isnan(power[index]))
            if closed.has_target and not self._has_power:
                self.untold.step(closed[index], say)
            if closed.has_power:
                window = closed[index]
                self.model.step(window)
                for detector in self.of_power:
                    detector.step(window, say)
            self.beat.step(closed, index, say)

    def not_evaluated(self) -> list[NotEvaluated]:
        every = (*self.of_power, self.beat)
        return [why for detector in every for why in detector.not_evaluated()]
