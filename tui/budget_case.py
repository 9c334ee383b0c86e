"""One chain of a budget with all that is computed of it once."""

from functools import cached_property
from typing import Any

import msgspec

from shared import budget, reach
from shared.budget import Budget, Conditions
from shared.chain import Chain
from shared.inputs import step_ohm_at
from shared.leads import lead_ohm
from shared.uncertainty import Simulated
from tui.budget_facts import PART


class BudgetCase:
    """A chain under conditions, with a letter for its column."""

    def __init__(self, name: str, chain: Chain, at: Conditions) -> None:
        self.name = name
        self.chain = chain
        self.at = at

    @cached_property
    def budget(self) -> Budget:
        return budget.budget(self.chain, self.at)

    @cached_property
    def simulated(self) -> Simulated:
        return budget.simulate(self.chain, self.at, self.budget.combined)

    @cached_property
    def reach(self) -> reach.Reach:
        return reach.reach(self.chain, self.at.copper_c, self.at.bridged)

    @cached_property
    def agrees(self) -> bool:
        return budget.agrees(self.budget.combined, self.simulated)

    @property
    def lead_ohm(self) -> float:
        return lead_ohm(self.chain, self.at.copper_c)

    @property
    def step_ohm(self) -> float:
        """Ω of one code at the temperature of the budget."""
        return step_ohm_at(self.chain, reach.element_ohm(self.chain, self.at.temperature_c))

    @property
    def step_c(self) -> float:
        return reach.step_c(self.chain, self.at.temperature_c)

    def at_temperature(self, temperature_c: float) -> Budget:
        """The budget at another temperature."""
        return budget.budget(
            self.chain, msgspec.structs.replace(self.at, temperature_c=temperature_c)
        )

    def as_record(self) -> dict[str, Any]:
        """Everything for `--json`; NaN becomes null."""
        done = self.budget
        return {
            "name": self.name,
            "chain": self.chain,
            "not_told": [key for key in PART if not self.chain.knows(key)],
            "conditions": self.at,
            "reach": self.reach,
            "step_ohm": self.step_ohm,
            "step_c": self.step_c,
            "lead_ohm": self.lead_ohm,
            "filter": done.filter,
            "shown_c": done.shown_c,
            "offset_c": done.offset_c,
            "offsets": done.offsets,
            "terms": [
                {
                    "name": term.input.name,
                    "text": term.input.text,
                    "distribution": term.input.shape,
                    "width": term.input.width,
                    "unit": term.input.unit,
                    "standard": term.input.standard,
                    "sensitivity": term.sensitivity,
                    "contribution_c": term.standard,
                }
                for term in done.combined.contributions
            ],
            "standard_c": done.combined.standard,
            "coverage_factor": 2.0,
            "expanded_c": done.combined.expanded(),
            "monte_carlo": self.simulated,
            "monte_carlo_agrees": self.agrees,
        }
