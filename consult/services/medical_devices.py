"""A powered medical device in a household: kept once they agreed, gone as soon as they say so."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import MedicalDevice, Property, User
from consult.services.jobs import Run, enqueue
from consult.services.privacy import ledger
from consult.services.privacy.erasures import empty_the_log_of_writes

NOTE_WITHDRAWAL = "note-withdrawal"


@transaction.atomic
def keep_medical_device(
    *, home: Property, words: str, agreed: bool, by: User | None, now: datetime, seen: int | None
) -> None:
    """Keep the words if they agreed; other words, none, or no consent withdraw what was kept.

    `seen` is the row that the form was opened with: what was withdrawn since does not come back.
    """
    Property.objects.select_for_update().get(pk=home.pk)
    words = words.strip() if agreed else ""
    current = MedicalDevice.objects.current().filter(property=home).first()
    before = "" if current is None else current.words
    if words == before:
        return
    if (seen or None) != (current and current.pk):
        raise ValidationError(
            _("What is kept of a medical device changed meanwhile. Open the form again.")
        )
    withdraw_medical_device(home=home, by=by, now=now)
    if words:
        row = MedicalDevice(property=home, words=words, agreed_at=now, entered_by=by)
        row.full_clean()
        row.save()


@transaction.atomic
def withdraw_medical_device(*, home: Property, by: User | None, now: datetime) -> bool:
    """Blank the words for good; that and when something was withdrawn stays. False: none was."""
    current = MedicalDevice.objects.current().filter(property=home)
    for pk in current.values_list("pk", flat=True):
        enqueue(kind=NOTE_WITHDRAWAL, key=f"{NOTE_WITHDRAWAL}:{pk}", arguments={"device": pk})
    n_withdrawn = current.update(words="", withdrawn_at=now, withdrawn_by=by)
    return bool(n_withdrawn)


def note_withdrawal(arguments: dict[str, Any], run: Run) -> None:
    """The job after a withdrawal: write the ledger, and leave no older page of the database."""
    device = MedicalDevice.objects.filter(pk=arguments["device"]).first()
    if device is not None:
        ledger.note_withdrawal(device)
    empty_the_log_of_writes()


def withdraw_again(*, entry: dict[str, Any], now: datetime) -> bool:
    """Do a withdrawal of the ledger again, on words that an older backup brought back."""
    row = MedicalDevice.objects.current().filter(pk=entry["device"]).first()
    if row is None or row.agreed_at.isoformat() != entry["agreed_at"]:
        return False
    return withdraw_medical_device(home=row.property, by=None, now=now)
