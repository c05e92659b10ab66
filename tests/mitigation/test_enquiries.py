"""What the client said when they called; a medical device is kept with consent, until withdrawn."""

import io
import json
import zipfile

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from consult.models import Contact, Job, MedicalDevice
from consult.services.jobs import Run
from consult.services.medical_devices import (
    NOTE_WITHDRAWAL,
    keep_medical_device,
    note_withdrawal,
    withdraw_again,
    withdraw_medical_device,
)
from consult.services.privacy import ledger
from consult.services.privacy.packages import write_package
from mitigation.models import Case, Enquiry
from surveys.models import Guideline
from tests.cast import make_cast
from tests.factories import VisitFactory
from tests.privacy.everywhere import places_of

pytestmark = pytest.mark.django_db
DEVICE = "zqx bedside ventilator"
SAID = {"reason": "Hums at night", "sleepers": "Child by the stairs", "wishes": "Tuesdays",
        "fitted": "Demand switch on F3", "heard_of_us": "A neighbour"}  # fmt: skip


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def case(cast):
    return cast.case


def page(browser, cast, asker, name="case_detail", *args):
    cast.log_in(browser, asker)
    return browser.get(reverse(name, args=args or [cast.case.reference])).content.decode()


def edit(browser, cast, **sent):
    cast.log_in(browser, "office")
    url = reverse("enquiry_edit", args=[cast.case.reference])
    shown = browser.get(url).context["form"].initial
    typed = {"version": "0"} | shown | sent
    return browser.post(url, {key: text for key, text in typed.items() if text})


def test_a_case_is_opened_with_what_the_client_said(client, cast):
    cast.log_in(client, "office")
    url = reverse("case_open", args=[cast.case.property_id])
    assert "<details>" in client.get(url).content.decode()
    judged = {"guideline": Guideline.objects.get(code="SBM-2015").pk, "target_band": "2",
              "placement_percent": "5", "reference": "CALL-2"}  # fmt: skip
    sent = judged | SAID | {"contact_name": "Ole Tann", "contact_phone": "0170 4455"}
    wrong = client.post(url, sent | {"placement_percent": "x"})
    assert wrong.status_code == 422 and "<details open>" in wrong.content.decode()
    assert client.post(url, sent).status_code == 302
    enquiry = Enquiry.objects.get(case__reference="CALL-2")
    assert {name: getattr(enquiry, name) for name in SAID} == SAID
    contact = Contact.objects.get(name="Ole Tann")
    assert (contact.client, contact.phone) == (cast.case.property.client, "0170 4455")


def test_without_a_word_there_is_no_enquiry(client, cast):
    assert edit(client, cast).status_code == 302
    assert not Enquiry.objects.exists() and not Contact.objects.exists()


def test_office_and_assessor_read_it_on_the_page_of_the_case(client, cast):
    assert edit(client, cast, **SAID).status_code == 302
    for asker in ("office", "its assessor"):
        text = page(client, cast, asker)
        assert all(words in text for words in SAID.values()), asker
    assert "Change the enquiry" not in page(client, cast, "its assessor")
    assert not Enquiry.objects.visible_to(cast.people["its client"]).exists()
    assert "Hums at night" in page(client, cast, "office", "case_history", cast.case.reference)


def test_the_second_of_two_who_change_it_is_told(client, cast):
    edit(client, cast, **SAID)
    cast.log_in(client, "office")
    url = reverse("enquiry_edit", args=[cast.case.reference])
    version = client.get(url).context["form"].initial["version"]
    first = client.post(url, SAID | {"version": version, "wishes": "Mondays"})
    second = client.post(url, SAID | {"version": version, "wishes": "Fridays"})
    assert (first.status_code, second.status_code) == (302, 422)
    assert Enquiry.objects.get().wishes == "Mondays"


def test_a_second_contact_of_a_known_name_is_there_already(client, cast):
    for _ in range(2):
        edit(client, cast, contact_name="Ole Tann")
    edit(client, cast, contact_name="ole tann", contact_phone="0170 4455")
    assert Contact.objects.get().name == "Ole Tann"
    assert edit(client, cast, contact_phone="0170 4455").status_code == 422


# -- A powered medical device --------------------------------------------------------------------


def test_without_consent_nothing_is_kept(client, cast, media_folder):
    answer = edit(client, cast, device=DEVICE, **SAID)
    assert answer.status_code == 422 and "Without their consent" in answer.content.decode()
    assert places_of({"device": DEVICE}, media_folder) == {}
    keep_medical_device(
        home=cast.case.property, words=DEVICE, agreed=False, by=None, now=timezone.now(), seen=None
    )
    assert not MedicalDevice.objects.exists()


def test_the_words_are_for_the_office_alone(client, cast):
    assert edit(client, cast, device=DEVICE, device_agreed="on").status_code == 302
    visit = VisitFactory(property=cast.case.property, sealed_at=None)
    ask = "Ask before switching circuits off"
    assert DEVICE in page(client, cast, "office") and ask in page(client, cast, "office")
    for name, argument in (
        ("case_detail", cast.case.reference),
        ("case_history", cast.case.reference),
        ("case_plan", cast.case.reference),
        ("trial_walk", visit.pk),
        ("visit_detail", visit.pk),
        ("visit_sheet", visit.pk),
    ):
        text = page(client, cast, "its assessor", name, argument)
        assert ask in text and DEVICE not in text, name
        assert "edical device" not in text, name
    assert not MedicalDevice.objects.visible_to(cast.people["its assessor"]).exists()
    assert DEVICE not in page(client, cast, "office", "case_history", cast.case.reference)


def test_a_household_without_one_is_not_spoken_of(client, cast):
    assert "Ask before switching" not in page(client, cast, "its assessor")


def test_it_is_withdrawn_by_itself_and_nothing_of_it_is_left(client, cast, media_folder):
    edit(client, cast, device=DEVICE, device_agreed="on", **SAID)
    assert places_of({"device": DEVICE}, media_folder)
    url = reverse("medical_device_withdraw", args=[cast.case.reference])
    for _click in range(2):
        assert client.post(url).status_code == 302
    assert places_of({"device": DEVICE}, media_folder) == {}
    assert Enquiry.objects.get().reason == SAID["reason"]
    row = MedicalDevice.objects.get()
    assert (row.words, row.withdrawn_by) == ("", cast.people["office"])
    text = page(client, cast, "office")
    assert "Ask before switching" not in text
    history = page(client, cast, "office", "case_history", cast.case.reference)
    assert "entered with their consent" in history and "withdrawn" in history


def test_a_form_from_before_the_withdrawal_brings_nothing_back(client, cast):
    edit(client, cast, device=DEVICE, device_agreed="on")
    url = reverse("enquiry_edit", args=[cast.case.reference])
    opened = client.get(url).context["form"].initial
    withdraw_medical_device(home=cast.case.property, by=None, now=timezone.now())
    answer = client.post(url, opened | {"wishes": "Mondays"})
    assert answer.status_code == 422 and "changed meanwhile" in answer.content.decode()
    assert not MedicalDevice.objects.current().exists() and not Enquiry.objects.exists()


def test_a_restored_backup_does_not_bring_it_back(client, cast, media_folder):
    """The ledger, which lies outside the backups, knows of the withdrawal, and no word of it."""
    edit(client, cast, device=DEVICE, device_agreed="on")
    device = MedicalDevice.objects.get()
    withdraw_medical_device(home=cast.case.property, by=None, now=timezone.now())
    job = Job.objects.get(kind=NOTE_WITHDRAWAL)
    for _time in range(2):
        note_withdrawal(job.arguments, Run(job.pk, 1))
    (entry,) = ledger.withdrawals()
    assert entry == {"device": device.pk, "agreed_at": device.agreed_at.isoformat()}
    assert list(ledger.entries()) == []
    device.save()  # as the backup has it
    assert places_of({"device": DEVICE}, media_folder)
    call_command("erase", "--again", stdout=io.StringIO())
    assert places_of({"device": DEVICE}, media_folder) == {}
    assert not withdraw_again(entry=entry, now=timezone.now()), "it is withdrawn already"
    other = MedicalDevice.objects.create(
        property=cast.case.property, words="pump", agreed_at=timezone.now()
    )
    later = {"device": other.pk, "agreed_at": entry["agreed_at"]}
    assert not withdraw_again(entry=later, now=timezone.now()), "the number is another's now"


def test_other_words_take_the_place_of_the_old_ones(client, cast, media_folder):
    edit(client, cast, device=DEVICE, device_agreed="on")
    assert edit(client, cast, device="qqz pump").status_code == 302
    assert MedicalDevice.objects.current().get().words == "qqz pump"
    assert places_of({"device": DEVICE}, media_folder) == {}
    assert edit(client, cast, device="").status_code == 302
    assert not MedicalDevice.objects.current().exists()


def test_the_copy_for_the_person_has_all_of_it(client, cast, case):
    edit(client, cast, device=DEVICE, device_agreed="on", **SAID)
    out = io.BytesIO()
    write_package(person=case.property.client, out=out)
    text = json.loads(zipfile.ZipFile(out).read("data.json"))
    tables = {name.partition("(")[2]: part for name, part in text.items()}
    assert tables["consult.MedicalDevice)"]["rows"][0]["words"] == DEVICE
    assert tables["mitigation.Enquiry)"]["rows"][0]["sleepers"] == SAID["sleepers"]


def test_the_database_refuses_what_no_form_sends(case):
    home, now = case.property, timezone.now()
    MedicalDevice.objects.create(property=home, words="a", agreed_at=now)
    wrong = (
        {"words": "b"},  # two at once
        {"words": "b", "withdrawn_at": now},  # withdrawn, and still there
    )
    for fields in wrong:
        with pytest.raises(IntegrityError), transaction.atomic():
            MedicalDevice.objects.create(property=home, agreed_at=now, **fields)
    Enquiry.objects.create(case=case)
    with pytest.raises(IntegrityError), transaction.atomic():
        Enquiry.objects.create(case=case)
    with pytest.raises(IntegrityError), transaction.atomic():
        Enquiry.objects.filter(case=case).update(reason="x" * 2_001)


def test_texts_without_control_characters(case):
    with pytest.raises(ValidationError):
        Enquiry(case=Case.objects.get(pk=case.pk), wishes="a\nb").full_clean()
