"""Everything that people did in a case, the latest first."""

from collections.abc import Iterator
from functools import partial
from typing import Any

from django.urls import reverse
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from consult.models import Assignment, Client, Contact, Letter, MedicalDevice, Property
from consult.services.histories import (
    NOTHING,
    Change,
    Field,
    Names,
    Row,
    as_data,
    changes,
    latest_first,
    rows_of,
)
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import Attachment, Case, Enquiry, Note, Remedy
from surveys.models import Guideline, Reading
from surveys.services.histories import (
    instrument_changes,
    place_changes,
    source_changes,
    visit_changes,
    word_changes,
)

LONGEST_NOTE = 300


def case_changes(case: Case, user: Any) -> list[Change]:
    """A fixed number of queries for any case; only what `user` may see of it.

    What was entered of places, readings and instruments is marked as data: there may be hundreds.
    """
    home = case.property
    visits = list(case.visits.select_related("source"))
    instruments = Reading.objects.filter(visit__in=visits).order_by().values_list("instrument")
    names = Names({Guideline: dict(Guideline.objects.values_list("pk", "code"))})
    acts = [
        *_people_and_case(case, names),
        *_device(home, names),
        *visit_changes(visits, home, names),
        *word_changes(visits, names),
        *as_data(place_changes(home, names), new_alone=True),
        *as_data(source_changes(home, names), new_alone=True),
        *as_data(instrument_changes({pk for (pk,) in instruments.distinct()}, names)),
        *_notes_and_files(case, user, names),
        *_letters(case, user, names),
    ]
    return latest_first(acts)


def remedy_changes(names: Names) -> Iterator[Change]:
    """The catalogue: who added, changed and retired a kind."""
    yield from changes(
        rows_of(Remedy),
        tell=names.teller(Remedy),
        names=names,
        title=lambda row: remedy_name(row["name"]),
    )


def _people_and_case(case: Case, names: Names) -> Iterator[Change]:
    home = case.property
    models: list[tuple[str, Any, dict[str, Any]]] = [
        (_("Case"), Case, {"id": case.pk}),
        (_("Enquiry"), Enquiry, {"case_id": case.pk}),
        (_("Property"), Property, {"id": home.pk}),
        (_("Client"), Client, {"id": home.client_id}),
        (_("Contact"), Contact, {"client_id": home.client_id}),
    ]
    for what, model, wanted in models:
        yield from changes(
            rows_of(model, **wanted),
            tell=names.teller(model),
            names=names,
            title=partial(_row_title, what),
        )
    yield from changes(
        rows_of(Assignment, property_id=home.pk),
        tell=names.teller(Assignment),
        names=names,
        title=lambda row: _titled(_("Assessor"), names.people.get(row["user_id"])),
    )


def _device(home: Property, names: Names) -> Iterator[Change]:
    """When something was kept and withdrawn; never the words, which are the office's alone."""
    for row in MedicalDevice.objects.filter(property=home):
        title = _("Ask before switching circuits off")
        kept, gone = _("entered with their consent"), _("withdrawn")
        yield Change(at=row.agreed_at, who=names.who(row.entered_by_id), what=title, kind=kept)
        if row.withdrawn_at is not None:
            yield Change(
                at=row.withdrawn_at, who=names.who(row.withdrawn_by_id), what=title, kind=gone
            )


def _notes_and_files(case: Case, user: Any, names: Names) -> Iterator[Change]:
    for note in Note.objects.visible_to(user).filter(case=case):
        yield Change(
            at=note.written_at,
            who=names.who(note.written_by_id),
            what=_("Note"),
            kind=_("written"),
            reason=Truncator(note.text).chars(LONGEST_NOTE),
        )
    files = Attachment.objects.visible_to(user).filter(case=case)
    for file in files.only("name", "added_at", "added_by", "case"):
        yield Change(
            at=file.added_at,
            who=names.who(file.added_by_id),
            what=_titled(_("File"), file.name),
            kind=_("attached"),
        )


def _letters(case: Case, user: Any, names: Names) -> Iterator[Change]:
    letters = Letter.objects.visible_to(user).filter(case_letter__case=case)
    for letter in letters.select_related("corrects").defer("content"):
        acts = (
            (letter.issued_at, letter.issued_by_id, _("issued")),
            (letter.emailed_at, letter.emailed_by_id, _("e-mailed to the client")),
            (letter.posted_at, letter.posted_by_id, _("marked as posted")),
        )
        corrects = letter.corrects.number if letter.corrects else ""
        for at, by, kind in acts:
            if at is None:
                continue
            fields = [Field(_("corrects"), NOTHING, corrects)] if corrects else []
            yield Change(
                at=at,
                who=names.who(by),
                what=f"{letter.get_kind_display()} {letter.number}",
                kind=kind,
                fields=fields if kind == acts[0][2] else [],
                url=reverse("letter_detail", args=[letter.number]),
            )


def _row_title(what: str, row: Row) -> str:
    return _titled(what, row.get("name") or row.get("reference"))


def _titled(what: str, name: str | None) -> str:
    return f"{what} {name}" if name else what
