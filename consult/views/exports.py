"""Letters, people, firms and the access log as spreadsheets."""

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, manager_required, role_required
from consult.models import Erasure, User
from consult.pages.downloads import spreadsheet
from consult.pages.letters import day_of, letter_columns, wanted_letters
from consult.pages.people import all_firms, wanted_events, wanted_people
from consult.services.spreadsheets import Column, Sheet


@require_safe
@role_required("office", "assessor", "client")
def letter_list_export(request: SignedInRequest) -> HttpResponse:
    office = request.user.role == User.Role.OFFICE
    columns = letter_columns(with_sending=office)
    return spreadsheet(_("letters"), Sheet(_("Letters"), columns, wanted_letters(request)))


@require_safe
@manager_required
def person_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("Name"), lambda person: person.name),
        (_("E-mail"), lambda person: person.email),
        (_("Role"), lambda person: person.get_role_display()),
        (_("Runs the practice"), lambda person: _("yes") if person.is_manager else _("no")),
        (_("Firm"), lambda person: person.firm and person.firm.name),
        (_("Log-in"), _log_in),
        (_("Last log-in"), lambda person: day_of(person.last_login)),
    ]
    return spreadsheet(_("people"), Sheet(_("People"), columns, wanted_people(request)))


def _log_in(person: User) -> str:
    if not person.is_active:
        return _("kept out")
    return _("yes") if person.has_usable_password() else _("invited")


@require_safe
@manager_required
def access_log_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("When"), lambda event: event.at),
        (_("Who"), lambda event: event.user and event.user.name),
        (_("What"), lambda event: event.get_kind_display()),
        (_("About"), lambda event: event.about and event.about.name),
        (_("Details"), lambda event: event.what),
        (pgettext("network", "Address"), lambda event: event.address),
    ]
    return spreadsheet(_("access log"), Sheet(_("Access log"), columns, wanted_events(request)))


@require_safe
@manager_required
def firm_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("Firm"), lambda firm: firm.name),
        (_("Address"), lambda firm: firm.address),
        (_("Phone"), lambda firm: firm.phone),
        (_("E-mail"), lambda firm: firm.email),
        (_("Trades"), lambda firm: firm.trades),
        (_("Licence"), lambda firm: firm.licence),
        (_("Licence holds until"), lambda firm: firm.licence_until),
        (_("Liability insurance"), lambda firm: firm.insurance),
        (_("Insurance holds until"), lambda firm: firm.insurance_until),
        (_("People"), lambda firm: firm.n_people),
    ]
    return spreadsheet(_("firms"), Sheet(_("Firms"), columns, all_firms()))


@require_safe
@manager_required
def erasure_list_export(request: SignedInRequest) -> HttpResponse:
    columns: list[Column] = [
        (_("When"), lambda erasure: erasure.at),
        (_("Whom"), lambda erasure: erasure.numbers()),
        (_("By"), lambda erasure: erasure.by and erasure.by.name),
        (_("Files"), lambda erasure: erasure.n_files),
        (_("Files gone on"), lambda erasure: erasure.files_gone_at),
        (_("Done again on"), lambda erasure: erasure.repeated_at),
        (_("Why before its time"), lambda erasure: erasure.reason),
    ]
    return spreadsheet(
        _("erasures"),
        Sheet(_("Erasures"), columns, Erasure.objects.visible_to(request.user).for_list()),
    )
