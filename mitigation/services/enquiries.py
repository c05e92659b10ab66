"""What the office asked when the client called: kept with the case, the client and the home."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from consult.models import Contact, User
from consult.models.folding import folded
from consult.services.changes import held, refuse_overtaken, save_row
from consult.services.clients import save_contact
from consult.services.medical_devices import keep_medical_device
from mitigation.models import Case, Enquiry
from mitigation.models.enquiries import LONGEST


@transaction.atomic
def save_enquiry(
    *, case: Case, by: User | None, now: datetime, values: Mapping[str, Any], seen: int = 0
) -> Enquiry | None:
    """Keep what was asked, unless somebody else changed it since `seen`; None: nothing was.

    A second contact becomes one of the client's. A powered medical device belongs to the home, is
    kept with consent alone, and stands in no enquiry.
    """
    held(case)
    row = _save_texts(case, by, values, seen)
    if values.get("contact_name"):
        _add_contact(case, values["contact_name"], values.get("contact_phone", ""), by)
    if "device" in values:
        keep_medical_device(
            home=case.property,
            words=values["device"],
            agreed=values.get("device_agreed", False),
            seen=values.get("device_seen"),
            by=by,
            now=now,
        )
    return row


def _save_texts(
    case: Case, by: User | None, values: Mapping[str, Any], seen: int
) -> Enquiry | None:
    texts = {name: values.get(name, "").strip() for name in LONGEST}
    row = Enquiry.objects.filter(case=case).first()
    if row is None:
        if not any(texts.values()):
            return None
        row = Enquiry(case=case, **texts)
    else:
        for name, text in texts.items():
            setattr(row, name, text)
        refuse_overtaken(row, seen)
    save_row(row=row, by=by)
    return row


def _add_contact(case: Case, name: str, phone: str, by: User | None) -> None:
    """Another of the client's contacts; one of that name is there already and stays as it is."""
    client = case.property.client
    if folded(name) not in map(folded, client.contacts.values_list("name", flat=True)):
        row = Contact(client=client, part=Contact.Part.OTHER, name=name, phone=phone)
        save_contact(contact=row, by=by)
