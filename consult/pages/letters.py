"""Letters as lists and spreadsheets show them."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.models import Letter
from consult.services.spreadsheets import Cell, Column


def wanted_letters(request: HttpRequest) -> QuerySet[Letter]:
    """The letters that the person may see and asked for."""
    letters = Letter.objects.visible_to(request.user).for_list()
    state = request.GET.get("state", "")
    return letters.filter(state=state) if state in Letter.State.values else letters


def letter_columns(*, with_sending: bool) -> list[Column]:
    """What a spreadsheet says of a letter; how it was sent is for the office."""
    columns: list[Column] = [
        (_("Letter"), lambda letter: letter.number),
        (_("Kind"), lambda letter: letter.get_kind_display()),
        (_("Issued"), lambda letter: timezone.localdate(letter.issued_at)),
        (_("Case"), lambda letter: letter.case_reference),
        (_("Subject"), lambda letter: letter.subject),
        (_("State"), lambda letter: letter.get_state_display()),
        (_("Corrects"), lambda letter: letter.corrects and letter.corrects.number),
    ]
    if with_sending:
        columns += [
            (_("Client"), lambda letter: letter.client and letter.client.name),
            (_("Posted on"), lambda letter: day_of(letter.posted_at)),
            (_("E-mailed on"), lambda letter: day_of(letter.emailed_at)),
            (_("Failed because"), lambda letter: letter.failure),
        ]
    return columns


def day_of(moment: Any) -> Cell:
    return moment and timezone.localdate(moment)
