"""The circuits and appliances of a home, by the names that a list of what was off gives."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from surveys.models import Appliance, Circuit
from surveys.models.names import folded

_ANGLES: Mapping[int, Mapping[str, float]] = {
    1: {"": 0.0, "L1": 0.0, "L2": 0.0, "L3": 0.0},
    2: {"L1": 0.0, "L2": np.pi},
    3: {"L1": 0.0, "L2": 2.0 * np.pi / 3.0, "L3": 4.0 * np.pi / 3.0},
}


@dataclass(frozen=True)
class Source:
    """A circuit, or an appliance that hangs on one."""

    name: str  # as it is written
    phase: str = ""
    circuit: str = ""  # of an appliance: the folded name of its circuit
    label: str = ""


@dataclass(frozen=True)
class Sources:
    """What the rows of a home declare, by folded name, and how many phases it has."""

    phases: int
    declared: Mapping[str, Source] = field(default_factory=dict)
    circuits: frozenset[str] = frozenset()

    def angle(self, name: str) -> float | None:
        """The phase angle of a source; None where its phase is not known. [rad]"""
        source = self.declared.get(name)
        phase = source.phase if source else ""
        if source and source.circuit in self.declared:
            phase = self.declared[source.circuit].phase
        return _ANGLES[self.phases].get(phase)

    def circuit_of(self, name: str) -> str:
        """The circuit that an appliance hangs on; empty for a circuit, and where nobody knows."""
        source = self.declared.get(name)
        return source.circuit if source else ""

    def shown(self, name: str) -> str:
        """The name as it is written; one that no row declares as it is folded."""
        source = self.declared.get(name)
        return source.name if source else name

    def with_appliances(self, names: Iterable[str], tried: Collection[str]) -> frozenset[str]:
        """The sources with those of `tried` that are off when they are."""
        off = frozenset(names)
        return off | {name for name in tried if self.circuit_of(name) in off}


def sources_of(home: int, phases: int) -> Sources:
    """What the rows of a home declare: two queries. Of two circuits of a name the first."""
    circuits = Circuit.objects.at(home).order_by("-pk").values_list("name", "phase", "label")
    appliances = Appliance.objects.at(home).values_list("name", "circuit__name")
    declared = {folded(name): Source(name, phase, "", label) for name, phase, label in circuits}
    names = frozenset(declared)
    for name, circuit in appliances:
        declared[folded(name)] = Source(name, "", folded(circuit or ""))
    return Sources(phases, declared, names)
