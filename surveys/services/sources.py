"""What was off while the meter was read: the circuits and appliances that a text names."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from surveys.models import Appliance, ApplianceOff, Circuit, CircuitOff, Reading
from surveys.models.circuits import MAIN_SWITCH, names_in, with_label
from surveys.models.names import LONGEST, folded


@dataclass(frozen=True)
class Sources:
    """The circuits and appliances of a home by their folded names."""

    circuits: Mapping[str, int]
    appliances: Mapping[str, int]


def sources_at(home: int) -> Sources:
    """What the rows of a home declare; of two circuits of a name the first."""
    circuits = Circuit.objects.at(home).order_by("-pk").values_list("name", "pk")
    appliances = Appliance.objects.at(home).values_list("name", "pk")
    return Sources(
        {folded(name): pk for name, pk in circuits}, {folded(name): pk for name, pk in appliances}
    )


def source_names(home: int) -> list[tuple[str, str]]:
    """The names of circuits and appliances, each with what a person reads beside it."""
    circuits = Circuit.objects.at(home).values_list("name", "label")
    appliances = Appliance.objects.at(home).values_list("name", "name")
    shown = [(name, with_label(name, label)) for name, label in circuits]
    return [*shown, *appliances]


def main_switch_is_off(text: str) -> bool:
    """Whether the text says that everything was off."""
    return names_in(text) == [MAIN_SWITCH]


def refuse_wrong_names(text: str) -> None:
    """Refuse what a case folder would refuse in this cell."""
    names = names_in(text)
    if MAIN_SWITCH in names and len(names) > 1:
        raise ValidationError({"circuits_off": _("The sign * stands alone: everything was off.")})
    if any(len(name) > LONGEST for name in names):
        words = _("Names of at most %(n)s characters, with semicolons between.")
        raise ValidationError({"circuits_off": words % {"n": LONGEST}})


def link_sources(*, readings: Sequence[Reading], home: int) -> None:
    """Have each reading linked to exactly those sources that its text names."""
    CircuitOff.objects.filter(reading__in=readings).delete()
    ApplianceOff.objects.filter(reading__in=readings).delete()
    texts = [(reading.pk, reading.circuits_off) for reading in readings if reading.circuits_off]
    if texts:
        add_links(texts=texts, sources=sources_at(home))


def add_links(*, texts: Iterable[tuple[int, str]], sources: Sources) -> None:
    """Link readings, given by their number and text, to the sources that the text names."""
    circuits, appliances = [], []
    links: dict[str, tuple[list[int], list[int]]] = {}
    for reading, text in texts:
        if text not in links:
            names = [folded(name) for name in names_in(text)]
            links[text] = (
                [sources.circuits[name] for name in names if name in sources.circuits],
                [sources.appliances[name] for name in names if name in sources.appliances],
            )
        circuits += [CircuitOff(reading_id=reading, circuit_id=pk) for pk in links[text][0]]
        appliances += [ApplianceOff(reading_id=reading, appliance_id=pk) for pk in links[text][1]]
    CircuitOff.objects.bulk_create(circuits, batch_size=2_000)
    ApplianceOff.objects.bulk_create(appliances, batch_size=2_000)


def link_earlier(*, home: int, name: str, sources: Sources) -> None:
    """Link the readings that named a source before a row declared it."""
    named = Reading.objects.filter(visit__property=home).exclude(circuits_off="").order_by("pk")
    wanted = folded(name)
    texts = [
        (pk, name)  # that name alone: the others are linked
        for pk, text in named.values_list("pk", "circuits_off")
        if wanted in map(folded, names_in(text))
    ]
    add_links(texts=texts, sources=sources)
