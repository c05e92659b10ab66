"""Who changed what in a case and when, before and after, in words."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import models
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import formats, timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import role_required
from consult.models import Assignment, Client, Contact, Property, User
from consult.templatetags.figures import given
from mitigation.models import Case
from surveys.models import Guideline, Visit

LEFT_OUT = frozenset({"id", "created_at", "assigned_at", "stage_since", "opened_at", "position"})
NAMED = (User, Guideline)  # other keys say nothing to a person
MOST_SHOWN = 500


@dataclass(frozen=True)
class Field:
    """One field that changed."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class Change:
    """One act of one person on one row."""

    at: datetime
    who: str
    what: str
    kind: str
    was_there: bool
    reason: str
    fields: list[Field]


@require_safe
@role_required("office", "assessor")
def case_history(request: HttpRequest, reference: str) -> HttpResponse:
    """Case, client, contacts, property, assessors and visits; the latest change first."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    changes = sorted(_changes(case), key=lambda change: change.at, reverse=True)
    context = {"case": case, "changes": changes[:MOST_SHOWN], "n_changes": len(changes)}
    return render(request, "mitigation/case_history.html", context)


def _changes(case: Case) -> Iterator[Change]:
    home = case.property
    visits = list(case.visits.values_list("pk", flat=True))
    told: list[tuple[str, type[models.Model], dict[str, Any]]] = [
        (_("Case"), Case, {"id": case.pk}),
        (_("Property"), Property, {"id": home.pk}),
        (_("Client"), Client, {"id": home.client_id}),
        (_("Contact"), Contact, {"client_id": home.client_id}),
        (_("Assessor"), Assignment, {"property_id": home.pk}),
        (_("Visit"), Visit, {"id__in": visits}),
    ]
    names = _Names()
    for what, model, wanted in told:
        history: Any = model.history  # type: ignore[attr-defined]  # set by simple_history
        rows = history.filter(**wanted).order_by("history_date", "history_id")
        yield from _of_model(what, model, rows.values(), names)


class _Names:
    """What the keys in a history stand for, looked up once."""

    def __init__(self) -> None:
        self.people = dict(User.objects.values_list("pk", "name"))
        self.guidelines = dict(Guideline.objects.values_list("pk", "code"))

    def said(self, field: "models.Field[Any, Any]", value: Any) -> str:
        if value is None or value == "":
            return "–"
        if field.related_model is User:
            return self.people.get(value, f"({value})")
        if field.related_model is Guideline:
            return self.guidelines.get(value, f"({value})")
        if field.choices:
            return str(dict(field.flatchoices).get(value, value))
        if isinstance(value, datetime):
            return formats.date_format(timezone.localtime(value), "SHORT_DATETIME_FORMAT")
        if isinstance(value, date):
            return formats.date_format(value, "SHORT_DATE_FORMAT")
        return given(value) if isinstance(value, float) else str(value)


def _of_model(
    what: str, model: type[models.Model], rows: Iterable[Mapping[str, Any]], names: _Names
) -> Iterator[Change]:
    kinds = {"+": _("entered"), "~": _("changed"), "-": _("removed")}
    fields = [
        field
        for field in model._meta.concrete_fields
        if field.name not in LEFT_OUT and field.related_model in (None, *NAMED)
    ]
    last: dict[int, Mapping[str, Any]] = {}
    for row in rows:
        before = last.get(row["id"], {})
        last[row["id"]] = row
        kind = row["history_type"]
        changed = [
            Field(
                str(field.verbose_name),
                names.said(field, before.get(field.attname)),
                names.said(field, row[field.attname]),
            )
            for field in fields
            if kind != "-" and before.get(field.attname) != row[field.attname]
        ]
        if kind == "+":
            changed = [field for field in changed if field.after != "–"]
        if kind == "~" and not changed:
            continue
        yield Change(
            at=row["history_date"],
            who=names.people.get(row["history_user_id"], _("the system")),
            what=_title(what, row, names),
            kind=kinds[kind],
            was_there=kind == "~",
            reason=row["history_change_reason"] or "",
            fields=changed,
        )


def _title(what: str, row: Mapping[str, Any], names: _Names) -> str:
    name = row.get("label") or row.get("name") or row.get("reference")
    if name is None and "user_id" in row:
        name = names.people.get(row["user_id"], "")
    return f"{what} {name}" if name else what
