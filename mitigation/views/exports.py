"""A case's comparison and the lists of the desk as spreadsheets."""

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.letters.words import decision_words
from consult.models import User
from consult.pages.downloads import spreadsheet
from consult.pages.letters import letter_columns
from consult.services.spreadsheets import Cell, Column, Sheet
from mitigation.comparison import compare
from mitigation.letters.plan_page_words import item_place
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Case
from mitigation.pages.cases import case_columns
from mitigation.pages.comparison import filtered
from mitigation.pages.desk import desk_lists
from mitigation.pages.moves import steps_of
from mitigation.pages.plan import Line, read_plan
from surveys.models import Visit
from surveys.models.measurands import measurand_words


@require_safe
@role_required("office", "assessor")
def case_detail_export(request: SignedInRequest, reference: str) -> HttpResponse:
    """The table of the comparison, as it is filtered, with all digits."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    rows = filtered(compare(case), request.GET)["spots"]
    columns: list[Column] = [
        (_("Room"), lambda spot: spot["room"]),
        (_("Spot"), lambda spot: spot["spot"]),
        (_("Quantity"), lambda spot: measurand_words(spot["measurand"])),
        (_("Unit"), lambda spot: spot["unit"]),
        *_side_columns(_("Before"), "before"),
        *_side_columns(_("After"), "after"),
        *_change_columns(),
        *_target_columns(),
    ]
    name = f"{_('comparison')} {case.reference}"
    return spreadsheet(name, Sheet(_("Comparison"), columns, rows))


@require_safe
@role_required("office", "assessor")
def case_plan_export(request: SignedInRequest, reference: str) -> HttpResponse:
    """What is foretold for each row under the ticked items, with all digits."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    page = read_plan(case)
    items: list[Column] = [
        (_("Item"), lambda row: row.name),
        (_("Kind"), lambda row: remedy_name(row.remedy.name)),
        (_("Place"), item_place),
        (_("Cost"), lambda row: None if row.cost is None else float(row.cost)),
        (_("State"), lambda row: row.get_state_display()),
        (_("In the plan"), lambda row: _("yes") if row.is_chosen else _("no")),
        (_("Note"), lambda row: row.note),
    ]
    return spreadsheet(
        f"{_('plan')} {case.reference}",
        Sheet(_("Rows"), _plan_columns(), page.lines),
        Sheet(_("Items"), items, page.planning.item_rows),
    )


def _plan_columns() -> list[Column]:
    def figure(name: str) -> Callable[[Line], Cell]:
        return lambda line: None if line.figures is None else getattr(line.figures, name)

    def percent(name: str) -> Callable[[Line], Cell]:
        def cell(line: Line) -> Cell:
            share: float | None = getattr(line, name)
            return None if share is None else 100 * share

        return cell

    return [
        (_("Room"), lambda line: line.row.spot.room.name),
        (_("Spot"), lambda line: line.row.spot.name),
        (_("Quantity"), lambda line: measurand_words(line.row.measurand)),
        (_("Unit"), lambda line: line.row.finding.unit),
        (f"{_('Before')}: {_('sign')}", lambda line: line.row.finding.qualifier),
        (_("Before"), lambda line: line.row.finding.value),
        (_("Expected"), figure("median")),
        (_("Expected, at least"), figure("low")),
        (_("Expected, at most"), figure("high")),
        (_("Limit"), lambda line: line.limit),
        (_("Band"), lambda line: line.band),
        (_("Under the limit, if everything works [%]"), percent("probability")),
        (_("Under the limit, overall [%]"), percent("overall")),
        (_("Counts"), lambda line: _("yes") if line.counts else _("no")),
        (_("What to know"), lambda line: "; ".join(line.remarks)),
    ]


def _side_columns(title: str, side: str) -> list[Column]:
    """Value, sign, expanded uncertainty and band of one visit."""

    def part(name: str, factor: int = 1) -> Callable[[Mapping[str, Any]], Cell]:
        def cell(spot: Mapping[str, Any]) -> Cell:
            value: Cell = spot[side] and spot[side][name]
            return value * factor if isinstance(value, float) and value == value else _given(value)

        return cell

    return [
        (f"{title}: {_('sign')}", part("qualifier")),
        (title, part("value")),
        (f"{title}: {_('U (k = 2)')}", part("u", 2)),
        (f"{title}: {_('band')}", part("band")),
    ]


def _given(value: Cell) -> Cell:
    return None if value != value else value  # not a number: nothing is known


def _change_columns() -> list[Column]:
    def part(name: str) -> Callable[[Mapping[str, Any]], Cell]:
        def cell(spot: Mapping[str, Any]) -> Cell:
            change = spot["reduction"]
            if change is None or (change["at_least"] and name != "percent_low"):
                return None  # of "at least" the low end alone is said
            value: Cell = change[name]
            return _given(value)

        return cell

    return [
        (_("Reduction [%]"), part("percent")),
        (_("Reduction, at least [%]"), part("percent_low")),
        (_("Reduction, at most [%]"), part("percent_high")),
        (_("Reduction [dB]"), part("db")),
    ]


def _target_columns() -> list[Column]:
    return [
        (_("Limit"), lambda spot: spot["target"]["limit"]),
        (_("Target"), lambda spot: decision_words(spot["target"]["decision"])),
        (_("Probability under the limit [%]"), lambda spot: _percent(spot["target"])),
        (_("Comparable"), lambda spot: _("yes") if spot["comparable"] else _("no")),
        (_("What to know"), lambda spot: "; ".join(spot["remarks"])),
    ]


def _percent(target: Mapping[str, Any]) -> float | None:
    return None if target["probability"] is None else 100 * target["probability"]


def _holds(visit: Visit) -> list[str]:
    return [case.on_hold_reason for case in visit.cases.all() if case.on_hold_reason]


@require_safe
@role_required("office", "assessor")
def desk_export(request: SignedInRequest) -> HttpResponse:
    """Each list of the desk on a sheet, with all of its rows."""
    lists = desk_lists(request.user, timezone.localdate())
    due = list(lists["due"])
    office = request.user.role == User.Role.OFFICE
    visits: list[Column] = [
        (_("Day"), lambda visit: visit.date),
        (_("Visit"), lambda visit: visit.label),
        (_("Case"), lambda visit: ", ".join(case.reference for case in visit.cases.all())),
        (_("Client"), lambda visit: visit.property.client.name),
        (_("Property"), lambda visit: str(visit.property)),
        (_("Assessor"), lambda visit: visit.assessor),
        (_("On hold because"), lambda visit: "; ".join(_holds(visit))),
    ]
    stages: list[Column] = [
        (_("Stage"), lambda line: str(line.stage.label)),
        (_("Next move"), lambda line: line.next_move),
        (_("Cases"), lambda line: line.n_cases),
        (_("Due"), lambda line: line.n_late),
        (_("On hold"), lambda line: line.n_held),
    ]
    certificates: list[Column] = [
        (_("Instrument"), lambda row: row.instrument.name),
        (_("Quantity"), lambda row: row.get_quantity_display()),
        (_("Certificate"), lambda row: row.certificate),
        (_("Due"), lambda row: row.due_on),
    ]
    return spreadsheet(
        _("desk"),
        Sheet(_("Due today and late"), case_columns(steps_of(due, now=timezone.now())), due),
        Sheet(_("Visits of the next two weeks"), visits, list(lists["visits"])),
        Sheet(_("Letters that failed"), letter_columns(with_sending=office), lists["letters"]),
        Sheet(_("Cases by stage"), stages, lists["stages"]),
        Sheet(_("Certificates that run out"), certificates, lists["certificates"]),
    )
