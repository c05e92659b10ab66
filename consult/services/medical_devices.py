"""A powered medical device in a household: kept once they agreed, gone as soon as they say so."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import MedicalDevice, Property, User
from consult.services.privacy.erasures import empty_the_log_of_writes


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
    n_withdrawn = current.update(words="", withdrawn_at=now, withdrawn_by=by)
    if n_withdrawn:
        transaction.on_commit(empty_the_log_of_writes)
    return bool(n_withdrawn)
