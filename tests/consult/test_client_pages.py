"""Clients, contacts and homes on pages: entered, changed, merged; the second editor is told."""

import datetime as dt
import io

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone
from python_calamine import CalamineWorkbook

from consult.models import Client, Contact, DataRequest, Letter, Property, User
from consult.services.clients import merge_clients
from consult.services.privacy.requests import ask_for_data
from mitigation.models import Case, Stage
from surveys.models import Visit
from tests.factories import (
    CaseFactory,
    ClientFactory,
    PropertyFactory,
    UserFactory,
    compared_case,
    ready_letter,
)

pytestmark = pytest.mark.django_db
CLIENT = {"name": "Ida Moor", "address": "Postfach 3\n24999 Neustrand", "phone": "", "email": "",
          "language": "de"}  # fmt: skip
HOME = {"address": "Uferweg 3\n24999 Neustrand", "country": "de", "supply_voltage_v": "230",
        "frequency_hz": "50", "phases": "3"}  # fmt: skip


@pytest.fixture
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


def test_from_a_call_to_a_planned_visit(client, office):
    """A client without e-mail, somebody else who pays, a home, a case, a visit."""
    client.post(reverse("client_add"), CLIENT)
    row = Client.objects.get()
    assert (row.email, row.history.get().history_user) == ("", office)
    person = {"part": "payer", "name": "Hausverwaltung Nord", "phone": "0460 1"}
    assert client.post(reverse("contact_add", args=[row.pk]), person).status_code == 302
    client.post(reverse("property_add", args=[row.pk]), HOME)
    home = Property.objects.get()
    assert home.country == "DE"
    opened = client.post(
        reverse("case_open", args=[home.pk]),
        {"guideline": "2", "target_band": "2", "placement_percent": "5", "reference": "CALL-1"},
    )
    assert opened.url == reverse("case_detail", args=["CALL-1"])
    assessor = UserFactory(role=User.Role.ASSESSOR, name="Jo Feld")
    day = timezone.localdate() + dt.timedelta(days=9)
    plan = {"kind": "baseline", "day": str(day), "assessor": assessor.pk, "instructions": "Dog"}
    assert client.post(reverse("visit_plan", args=["CALL-1"]), plan).status_code == 302
    case, visit = Case.objects.get(), Visit.objects.get()
    assert (case.stage, case.due_on) == (Stage.BASELINE, day)
    assert (visit.assessor, visit.sealed_at, list(case.visits.all())) == ("Jo Feld", None, [visit])
    assert Case.objects.visible_to(assessor).exists()
    page = client.get(reverse("client_detail", args=[row.pk])).content.decode()
    assert "Hausverwaltung Nord" in page and "CALL-1" in page


@pytest.mark.parametrize(
    ("url", "typed"),
    [("client_add", CLIENT | {"name": ""}), ("client_add", CLIENT | {"email": "no mail"})],
)
def test_wrong_forms_are_422_and_store_nothing(client, office, url, typed):
    assert client.post(reverse(url), typed).status_code == 422
    assert not Client.objects.exists()


def test_the_second_editor_is_told_and_nothing_is_overwritten(client, office):
    row = ClientFactory()
    url = reverse("client_edit", args=[row.pk])
    seen = client.get(url).context["form"].initial["version"]
    first = CLIENT | {"phone": "111", "version": seen}
    second = CLIENT | {"phone": "222", "version": seen}
    assert client.post(url, first).status_code == 302
    answer = client.post(url, second)
    assert answer.status_code == 422
    assert "Ines Feld changed this meanwhile" in answer.content.decode()
    assert Client.objects.get().phone == "111"


def test_a_contact_is_removed_and_stays_in_the_history(client, office):
    contact = Contact.objects.create(client=ClientFactory(), part="landlord", name="Ada Lehn")
    client.post(reverse("contact_remove", args=[contact.pk]))
    assert not Contact.objects.exists()
    gone = Contact.history.filter(history_type="-").get()
    assert (gone.name, gone.history_user) == ("Ada Lehn", office)


def test_merging_brings_everything_together(client, office):
    case = compared_case()
    letter = ready_letter(case)
    gone = case.property.client
    gone.phone, gone.user = "0460 9", UserFactory(role=User.Role.CLIENT)
    gone.save()
    Contact.objects.create(client=gone, part="payer", name="Ada Lehn")
    keep = ClientFactory(name=gone.name, address="Postfach 3")
    url = reverse("client_merge", args=[keep.pk])
    assert gone.address.splitlines()[0] in client.get(url).content.decode()
    assert client.post(url, {"gone": gone.pk}).status_code == 422  # not sure yet
    assert client.post(url, {"gone": gone.pk, "sure": "on"}).status_code == 302
    kept = Client.objects.get()
    assert (kept.pk, kept.address, kept.phone, kept.user) == (
        keep.pk, "Postfach 3", "0460 9", gone.user,
    )  # fmt: skip
    assert Property.objects.get().client == kept
    assert Property.history.first().history_user == office
    assert Letter.objects.get(pk=letter.pk).client == kept
    assert kept.contacts.get().name == "Ada Lehn"
    assert Letter.objects.visible_to(kept.user).exists()
    assert "merged into" in Client.history.filter(history_type="-").get().history_change_reason


def test_what_both_records_ask_for_is_one_wish(office):
    one, two = ClientFactory(), ClientFactory()
    day = dt.datetime(2026, 3, 2, 9, 0, tzinfo=dt.UTC)
    ask_for_data(client=one, kind="copy", now=day + dt.timedelta(days=3))
    ask_for_data(client=two, kind="copy", now=day)
    ask_for_data(client=two, kind="erasure", now=day)
    merge_clients(keep=one, gone=two, by=office)
    wishes = DataRequest.objects.filter(client=one).values_list("kind", "asked_at")
    assert set(wishes) == {("copy", day), ("erasure", day)}


def test_what_cannot_be_merged(office):
    one, two = (ClientFactory(user=UserFactory(role=User.Role.CLIENT)) for _ in range(2))
    with pytest.raises(ValidationError, match="log-in"):
        merge_clients(keep=one, gone=two, by=office)
    with pytest.raises(ValidationError, match="one record already"):
        merge_clients(keep=one, gone=one, by=office)
    assert Client.objects.count() == 2


def test_a_new_name_is_found_in_the_list_and_in_the_cases(client, office):
    case = CaseFactory(property=PropertyFactory(client=ClientFactory(name="Ida Moor")))
    assert case.property.client.name in client.get("/clients/?q=moor ida").content.decode()
    assert "No client fits" in client.get("/clients/?q=moor otto").content.decode()


def test_the_list_comes_as_a_workbook_without_formulas(client, office):
    ClientFactory(name="=1+1", phone="+49 460 1")
    ClientFactory(name="Ida Moor")
    answer = client.get(reverse("client_list_export"), {"q": "1+1"})
    book = CalamineWorkbook.from_filelike(io.BytesIO(answer.content))
    rows = book.get_sheet_by_index(0).to_python()
    assert [row[:3] for row in rows[1:]] == [
        ["'=1+1", "Mill Lane 3\n12345 Riverside", "'+49 460 1"]
    ]


@pytest.mark.parametrize("url", ["/clients/"])
def test_the_list_costs_the_same_for_one_and_for_fifty(
    client, office, django_assert_num_queries, url
):
    PropertyFactory()
    client.get(url)
    with django_assert_num_queries(5) as one:
        client.get(url)
    PropertyFactory.create_batch(49)
    with django_assert_num_queries(len(one)):
        client.get(url)


@pytest.mark.parametrize("closed", ["keep", "gone"])
def test_of_two_log_ins_the_one_that_is_open_goes_on(office, closed):
    rows = {}
    for name in ("keep", "gone"):
        person = UserFactory(role=User.Role.CLIENT, is_active=name != closed)
        rows[name] = ClientFactory(user=person)
    left = rows["gone" if closed == "keep" else "keep"].user
    merged = merge_clients(keep=rows["keep"], gone=rows["gone"], by=office)
    assert Client.objects.get() == merged and merged.user == left
