"""The worksheet of one calculation while it is set up: inputs, steps, outputs, remarks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from huehold.stoichiometry.steps import Factor, Step, Term
from huehold.stoichiometry.strength import Strength
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.weighing import buoyancy_input

__all__ = ["Output", "Worksheet"]


@dataclass(frozen=True, slots=True)
class Output:
    """A result people are shown: key of its step, label, unit in print and for pint."""

    key: str
    label: str
    unit: str
    pint_unit: str


@dataclass
class Worksheet:
    """Inputs by name, steps in order, outputs, notes and warnings, gathered."""

    inputs: dict[str, Input] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    outputs: list[Output] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def add(self, item: Input) -> str:
        """Enter an input, once for each name, and return its name as key."""
        self.inputs.setdefault(item.name, item)
        return item.name

    def do(self, step: Step, output: Output | None = None) -> str:
        """Append a step, shown as an output if it is one, and return its key."""
        self.steps.append(step)
        if output is not None:
            self.outputs.append(output)
        return step.result.key

    def take(self, strength: Strength) -> None:
        """Enter the inputs, steps and remarks of a strength."""
        for item in strength.inputs:
            self.add(item)
        self.steps.extend(strength.steps)
        self.notes.extend(strength.notes)
        self.warn(*strength.warnings)

    def warn(self, *sentences: str) -> None:
        """Add warnings that are not there yet."""
        self.warnings.extend(s for s in sentences if s not in self.warnings)

    def has(self, key: str) -> bool:
        """Tell whether a step of that key is there."""
        return any(step.result.key == key for step in self.steps)

    def buoyancy(self, wanted: bool, name: str, density_g_per_ml: float) -> Iterable[Factor]:
        """Return the factor of the air's buoyancy, if it is wanted."""
        if not wanted:
            return ()
        return (Factor(Term(self.add(buoyancy_input(name, density_g_per_ml)))),)
