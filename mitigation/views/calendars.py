"""The calendar of the practice, or of a firm: a week, a list, its spreadsheet."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.pages.downloads import spreadsheet
from consult.services.spreadsheets import Column, Sheet
from mitigation.pages.calendars import (
    LIST_DAYS,
    WEEK_DAYS,
    entries_of,
    list_context,
    wanted_days,
    week_context,
)


@require_safe
@role_required("office", "assessor", "electrician")
def calendar(request: SignedInRequest) -> HttpResponse:
    """A week: who is where on which day."""
    context = week_context(wanted_days(request, WEEK_DAYS))
    return render(request, "mitigation/calendar.html", context)


@require_safe
@role_required("office", "assessor", "electrician")
def calendar_list(request: SignedInRequest) -> HttpResponse:
    """Four weeks, one below the other."""
    context = list_context(wanted_days(request, LIST_DAYS), request.GET.get("page", ""))
    return render(request, "mitigation/calendar_list.html", context)


@require_safe
@role_required("office", "assessor", "electrician")
def calendar_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("Day"), lambda entry: entry.day),
        (_("Hours"), lambda entry: entry.hours),
        (_("What"), lambda entry: entry.what),
        (_("Case"), lambda entry: entry.case),
        (_("Client"), lambda entry: entry.client),
        (_("Place"), lambda entry: entry.place),
        (_("Who"), lambda entry: entry.who),
    ]
    entries = entries_of(wanted_days(request, LIST_DAYS))
    return spreadsheet(_("calendar"), Sheet(_("Calendar"), columns, entries))
