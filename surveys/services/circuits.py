"""Panels, circuits and appliances of a home: entered at the panel, removed while unused.

A list of what was off names circuits and appliances alone, so a name is one of them in the whole
home. Once a reading names it, it stays: the reading says what was written. What a circuit feeds can
be described anew whenever somebody knows better.
"""

from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import Property, User
from consult.services.changes import held, refuse_overtaken, remove_row, save_row
from surveys.intake.cells import is_plausible
from surveys.models import Appliance, Circuit, Panel
from surveys.models.names import folded
from surveys.services.entries import known_names, sent_before, with_uid
from surveys.services.sources import Sources, link_earlier
from surveys.services.trial_changes import follow_trials

USUAL_PANEL = "panel"
CIRCUIT = frozenset({"name", "label", "phase", "rating_a", "rcd", "poles", "note"})
APPLIANCE = frozenset({"name", "circuit", "room", "note"})
Row = TypeVar("Row", Circuit, Appliance)


@transaction.atomic
def add_circuit(
    *, home: Property, by: User, panel: str = "", uid: UUID | None = None, **given: Any
) -> Circuit:
    """A circuit of a panel, once under its key; a panel of a new name is entered with it."""
    known_names(given, CIRCUIT)
    Property.objects.select_for_update().get(pk=home.pk)
    given["name"] = _tidy(given["name"])
    known = sent_before(Circuit, uid, given)
    if known is not None:
        return known
    _refuse_taken(home, given["name"])
    row = with_uid(Circuit(panel=_panel(home, by, panel), **given), uid)
    _keep(row, by)
    links = Sources({folded(row.name): row.pk}, {})
    link_earlier(home=home.pk, name=row.name, sources=links)
    follow_trials(home=home.pk)
    return row


@transaction.atomic
def change_circuit(
    *, circuit: Circuit, by: User, version: int | None = None, panel: str = "", **given: Any
) -> Circuit:
    """Put right what is known of a circuit; a name that readings give stays."""
    known_names(given, CIRCUIT)
    row = held(circuit)
    home = row.panel.property
    _rename(row, home, given, row.times_off.exists())
    if panel:
        row.panel = _panel(home, by, panel)
    refuse_overtaken(row, version)
    _keep(row, by)
    link_earlier_again(row, home, Sources({folded(row.name): row.pk}, {}))
    follow_trials(home=home.pk)
    return row


@transaction.atomic
def remove_circuit(*, circuit: Circuit, by: User) -> None:
    """Take away a circuit that no reading names and no appliance hangs on."""
    row = held(circuit)
    if row.times_off.exists() or row.appliances.exists():
        raise ValidationError(_("Readings or appliances name this circuit, so it stays."))
    remove_row(row=row, by=by)
    follow_trials(home=row.panel.property_id)


@transaction.atomic
def add_appliance(*, home: Property, by: User, uid: UUID | None = None, **given: Any) -> Appliance:
    """An appliance at home, once under its key."""
    known_names(given, APPLIANCE)
    Property.objects.select_for_update().get(pk=home.pk)
    given["name"] = _tidy(given["name"])
    known = sent_before(Appliance, uid, {"property": home, **given})
    if known is not None:
        return known
    _refuse_taken(home, given["name"])
    row = with_uid(Appliance(property=home, **given), uid)
    _refuse_elsewhere(row)
    save_row(row=row, by=by)
    link_earlier(home=home.pk, name=row.name, sources=Sources({}, {folded(row.name): row.pk}))
    follow_trials(home=home.pk)
    return row


@transaction.atomic
def change_appliance(
    *, appliance: Appliance, by: User, version: int | None = None, **given: Any
) -> Appliance:
    """Put right what is known of an appliance; a name that readings give stays."""
    known_names(given, APPLIANCE)
    row = held(appliance)
    _rename(row, row.property, given, row.times_off.exists())
    _refuse_elsewhere(row)
    refuse_overtaken(row, version)
    save_row(row=row, by=by)
    link_earlier_again(row, row.property, Sources({}, {folded(row.name): row.pk}))
    follow_trials(home=row.property_id)
    return row


@transaction.atomic
def remove_appliance(*, appliance: Appliance, by: User) -> None:
    """Take away an appliance that no reading names."""
    row = held(appliance)
    if row.times_off.exists():
        raise ValidationError(_("Readings name this appliance, so it stays."))
    remove_row(row=row, by=by)
    follow_trials(home=row.property_id)


@transaction.atomic
def rename_panel(*, panel: Panel, by: User, name: str, version: int | None = None) -> Panel:
    """Another name for the same panel."""
    row = held(panel)
    others = Panel.objects.filter(property=row.property_id).named(name).exclude(pk=row.pk)
    if others.exists():
        raise ValidationError({"name": _("This home has a panel of that name already.")})
    row.name = _tidy(name)
    refuse_overtaken(row, version)
    save_row(row=row, by=by)
    return row


@transaction.atomic
def remove_panel(*, panel: Panel, by: User) -> None:
    """Take away a panel without circuits."""
    row = held(panel)
    if row.circuits.exists():
        raise ValidationError(_("This panel has circuits, so it stays."))
    remove_row(row=row, by=by)


def link_earlier_again(row: Row, home: Property, sources: Sources) -> None:
    """A row that no reading named may be named now, under its new name."""
    if not row.times_off.exists():
        link_earlier(home=home.pk, name=row.name, sources=sources)


def _tidy(name: str) -> str:
    return " ".join(name.split())


def _panel(home: Property, by: User, name: str) -> Panel:
    """The panel of that name, or a new one."""
    known = Panel.objects.filter(property=home).named(name or USUAL_PANEL).first()
    if known is not None:
        return known
    row = Panel(property=home, name=_tidy(name) or USUAL_PANEL)
    save_row(row=row, by=by)
    return row


def _rename(row: Row, home: Property, given: dict[str, Any], is_named: bool) -> None:
    """Give a row its new values; refuse another name where readings give the old one."""
    given["name"] = _tidy(given.get("name", row.name))
    if folded(given["name"]) != folded(row.name):
        if is_named:
            words = _("Readings name it so, and the name stays. Describe it in other words beside.")
            raise ValidationError({"name": words})
        _refuse_taken(home, given["name"], but=row)
    for name, value in given.items():
        setattr(row, name, value)


def _refuse_taken(home: Property, name: str, but: Row | None = None) -> None:
    kinds: tuple[Any, ...] = (Circuit, Appliance)
    for kind in kinds:
        rows = kind.objects.at(home.pk).named(name)
        if isinstance(but, kind):
            rows = rows.exclude(pk=but.pk)
        if rows.exists():
            words = _("This home has a circuit or an appliance of that name already.")
            raise ValidationError({"name": words})


def _refuse_elsewhere(row: Appliance) -> None:
    """Circuit and room are of the same home."""
    faults = {}
    if row.circuit is not None and row.circuit.panel.property_id != row.property_id:
        faults["circuit"] = _("This circuit is not of this property.")
    if row.room is not None and row.room.property_id != row.property_id:
        faults["room"] = _("This room is not of this property.")
    if faults:
        raise ValidationError(faults)


def _keep(row: Circuit, by: User) -> None:
    rating = row.rating_a
    if rating is not None and not (rating > 0 and is_plausible(rating)):
        raise ValidationError({"rating_a": _("A number above 0.")})
    save_row(row=row, by=by)
