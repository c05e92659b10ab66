"""Orders and reports on their pages: what a firm, the office and a client see and do."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from consult.models import Job, OutboundMail
from consult.services.changes import version_of
from consult.tasks import run_job
from mitigation.models import (
    Attachment,
    PlanItem,
    Stage,
    TestInstrument,
    TestValue,
    WorkOrder,
    WorkPhoto,
    WorkResult,
    WorksConfirmation,
)
from mitigation.services.attachments import attach_file
from mitigation.services.work_orders import call_off_order, change_order, order_token
from mitigation.services.work_reports import accept_report
from mitigation.templatetags.plans import phone_links
from tests.entries import PHOTO
from tests.factories import UserFactory, assign
from tests.forms import opened
from tests.mitigation.ordered_works import (
    case_at_works,
    electrician,
    firm,
    in_days,
    keep,
    proposed,
    reported,
    sent_order,
    signed,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return UserFactory(name="Ines Feld")


@pytest.fixture
def order(db):
    return sent_order(case_at_works())


@pytest.fixture
def ole(order):
    return electrician(order.firm, name="Ole Brand")


def page_of(order) -> str:
    return reverse("work_order", args=[order.pk])


def link_of(order) -> str:
    key = OutboundMail.objects.filter(key__startswith=f"order:{order.pk}:").latest("pk").key
    return reverse("order_link", args=[order_token(order, key)])


def test_the_office_makes_an_order_for_each_firm_and_sends_it(client, office) -> None:
    case = case_at_works()
    first, second = case.items.all()
    north, south = firm(name="North"), firm(name="South", licence_until=dt.date(2026, 1, 1))
    client.force_login(office)
    make = reverse("orders_make", args=[case.reference])
    assert (
        reverse("orders_make", args=[case.reference])
        in client.get(reverse("case_works", args=[case.reference])).content.decode()
    )
    sent = {f"firm-{first.pk}": north.pk, f"firm-{second.pk}": south.pk, "access": "Side door"}
    assert client.post(make, sent).status_code == 302
    assert client.post(make, sent).status_code == 302  # a double click
    to_north, to_south = WorkOrder.objects.order_by("firm__name")
    assert WorkOrder.objects.count() == 2 and to_north.access == "Side door"
    assert client.post(reverse("order_send", args=[to_north.pk])).status_code == 302
    refused = client.post(reverse("order_send", args=[to_south.pk]))
    assert refused.status_code == 422 and "ran out" in refused.content.decode()
    why = {"reason": "Renewal is filed."}
    assert client.post(reverse("order_send", args=[to_south.pk]), why).status_code == 302
    assert "Renewal is filed." in client.get(page_of(to_south)).content.decode()


def test_a_choice_of_no_firm_makes_nothing(client, office) -> None:
    case = case_at_works()
    client.force_login(office)
    answer = client.post(reverse("orders_make", args=[case.reference]), {"access": "Side door"})
    assert answer.status_code == 422 and not WorkOrder.objects.exists()
    assert "Side door" in answer.content.decode()


def test_a_firm_sees_where_how_and_what_and_never_a_price(client, order, ole) -> None:
    order.case.items.update(cost=777, note="Client is short of money.")
    client.force_login(ole)
    text = client.get(page_of(order)).content.decode()
    caution = "Disconnect demand switches and electronics before an insulation test."
    for words in ("Key at the neighbour&#x27;s", "Rosa Lind", "F3 (bedroom sockets)", caution):
        assert words in text, words
    assert "777" not in text and "short of money" not in text and "charged" not in text
    order.refresh_from_db()
    assert order.seen_at is not None


def test_the_page_of_the_office_does_not_count_as_seen(client, order, office) -> None:
    client.force_login(office)
    assert "not opened yet" in client.get(page_of(order)).content.decode()
    order.refresh_from_db()
    assert order.seen_at is None


def test_a_firm_opens_the_documents_of_its_order_and_no_other(client, order, ole, office) -> None:
    plan, other = (
        attach_file(
            case=order.case, name=name, content=ContentFile(name.encode()), by=office,
            now=timezone.now(),
        )
        for name in ("panel.txt", "offer.txt")
    )  # fmt: skip
    change_order(
        order=order, by=office, now=timezone.now(), seen=version_of(order),
        values={"documents": [plan]},
    )  # fmt: skip
    client.force_login(ole)
    shown = client.get(page_of(order)).content.decode()
    assert "panel.txt" in shown and "offer.txt" not in shown
    of_plan, of_other = (
        client.get(reverse("order_document", args=[order.pk, file.pk])) for file in (plan, other)
    )
    assert of_plan.getvalue() == b"panel.txt" and of_other.status_code == 404
    with pytest.raises(ValidationError, match="files of this case"):
        change_order(
            order=sent_order(case_at_works("bonded-shield")), by=office, now=timezone.now(),
            seen=None, values={"documents": [plan]},
        )  # fmt: skip


def test_another_firm_finds_nothing(client, order) -> None:
    client.force_login(electrician(firm(name="South")))
    row = order.items.first()
    addresses = [
        page_of(order),
        reverse("report_result", args=[order.pk, row.pk]),
        reverse("report_value_add", args=[order.pk, row.pk]),
    ]
    assert [client.get(address).status_code for address in addresses] == [404] * 3
    assert client.post(reverse("report_sign", args=[order.pk])).status_code == 404
    assert order.case.reference not in client.get(reverse("order_list")).content.decode()


def test_a_link_shows_an_order_and_a_post_answers_it(client, order) -> None:
    link = link_of(order)
    answer = reverse("order_link_answer", args=[link.split("/")[-2]])
    assert client.get(link).status_code == 200
    order.refresh_from_db()
    assert order.seen_at is None and order.taken_at is None  # a mail scanner opens links, too
    assert client.post(answer, {"act": "take", "name": "Ole Brand"}).status_code == 302
    order.refresh_from_db()
    assert order.answered_by == "Ole Brand" and order.taken_at is not None
    refused = client.post(answer, {"act": "refuse", "name": "Ole Brand"})
    assert refused.status_code == 422 and "Say why." in refused.content.decode()
    client.post(answer, {"act": "refuse", "name": "Ole Brand", "reason": "No time."})
    order.refresh_from_db()
    assert order.state == WorkOrder.State.REFUSED
    assert client.get(link).status_code == 410


def test_a_link_of_an_order_that_was_called_off_shows_nothing(client, order, office) -> None:
    link = link_of(order)
    call_off_order(order=order, by=office, now=timezone.now(), reason="Moved out.")
    assert client.get(link).status_code == 410
    assert client.post(f"{link}answer/", {"act": "take", "name": "X"}).status_code == 410


def test_the_electricians_day(client, order, ole, office) -> None:
    """Results, a value, a photo, the signature: all on the phone's pages."""
    client.force_login(ole)
    first, second = order.items.all()
    TestInstrument.objects.create(firm=order.firm, name="installation tester")
    for row, sent in (
        (first, {"result": "done", "done_on": timezone.localdate()}),
        (second, {"result": "not possible", "words": "The wall is concrete."}),
    ):
        form = reverse("report_result", args=[order.pk, row.pk])
        assert client.post(form, opened(client, form) | sent).status_code == 302
    form = reverse("report_value_add", args=[order.pk, first.pk])
    value = {"test": "insulation", "value": "0.4", "test_voltage_v": "500"}
    missed = client.post(form, opened(client, form) | value)
    assert missed.status_code == 422 and "misses its limit" in missed.content.decode()
    client.post(form, opened(client, form) | value | {"remark": "Damp."})
    assert TestValue.objects.get().is_missed
    photo = reverse("report_photo", args=[order.pk, first.pk])
    client.post(photo, {"photo": SimpleUploadedFile("a.png", PHOTO)})
    assert WorkPhoto.objects.get().attachment.state == Attachment.State.CLEANING
    run_job(Job.objects.get(kind="clean-picture").pk)
    shown = client.get(page_of(order)).content.decode()
    small = reverse("report_photo_show", args=[order.pk, WorkPhoto.objects.get().pk])
    assert small in shown and client.get(small)["Content-Type"] == "image/jpeg"
    offered = client.get(page_of(order)).context["sign_form"]
    sign = {name: offered[name].value() for name in ("name", "licence", "shown")}
    assert sign["name"] == "Ole Brand" and sign["licence"] == "HWK 4711"
    assert client.post(reverse("report_sign", args=[order.pk]), sign).status_code == 302
    client.force_login(office)
    text = client.get(page_of(order)).content.decode()
    assert "1 test value to be looked at" in text and "Damp." in text
    report = order.reports.get()
    accept = reverse("report_judge", args=[order.pk, report.pk, "accept"])
    client.post(accept, {"charged": "412.50"})
    order.refresh_from_db()
    assert order.state == WorkOrder.State.ACCEPTED and float(order.charged) == 412.5
    states = list(order.case.items.values_list("state", flat=True))
    assert states == [PlanItem.State.DONE, PlanItem.State.NOT_POSSIBLE]
    client.force_login(ole)
    assert "412" not in client.get(page_of(order)).content.decode()


def test_an_insulation_value_without_its_voltage_is_asked_for(client, order, ole) -> None:
    client.force_login(ole)
    form = reverse("report_value_add", args=[order.pk, order.items.first().pk])
    sent = opened(client, form) | {"test": "insulation", "value": "200"}
    answer = client.post(form, sent)
    assert answer.status_code == 422
    assert "has its test voltage" in answer.content.decode()
    sent = opened(client, form) | {"test": "polarity"}
    assert "In order, or not?" in client.post(form, sent).content.decode()
    assert not TestValue.objects.exists()


def test_lists_tell_unseen_late_refused_and_reported_orders_apart(client, office) -> None:
    unseen, late, to_look_at = (sent_order(case_at_works("bonded-shield")) for _n in range(3))
    yesterday = timezone.localdate() - dt.timedelta(days=1)
    WorkOrder.objects.filter(pk=late.pk).update(due_on=yesterday, seen_at=timezone.now())
    reported(to_look_at, electrician(to_look_at.firm))
    client.force_login(office)

    def references(which: str) -> set[str]:
        page = client.get(reverse("order_list"), {"which": which})
        return {order.case.reference for order, _is_late in page.context["orders"]}

    assert references("unseen") == {unseen.case.reference}
    assert references("late") == {late.case.reference}
    assert references("reported") == {to_look_at.case.reference}
    assert references("refused") == set() and len(references("")) == 3
    assert "?which=late" in client.get(reverse("desk")).content.decode()


def test_today_stands_first_for_a_firm(client, order, ole) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(agreed_at=timezone.now())
    other = sent_order(case_at_works("bonded-shield"), order.firm)
    client.force_login(ole)
    context = client.get(reverse("order_list")).context
    assert [row.pk for row, _late in context["today"]] == [order.pk]
    assert [row.pk for row, _late in context["to_do"]] == [other.pk]


def test_a_client_sees_who_comes_and_says_what_is_done(client) -> None:
    case = case_at_works("demand-switch", "moved-bed")
    person = UserFactory(role="client", name="Rosa Lind")
    case.property.client.user = person
    case.property.client.save()
    order = sent_order(case)
    day = in_days(7)
    proposed(order, day, asked="")
    client.force_login(person)
    page = client.get(reverse("client_home"))
    text = page.content.decode()
    [(_order, appointments)] = page.context["stands"][0]["works"].orders
    assert appointments.agreed.starts_at == day and appointments.when in text
    assert order.firm.name in text and "Your own part" in text
    assert "Key at the neighbour" not in text
    accept_report(
        report=reported(order, electrician(order.firm)), by=UserFactory(), now=timezone.now()
    )
    confirm = reverse("works_confirm", args=[case.reference])
    client.post(confirm, {"item": "R2", "name": "Rosa Lind"})
    case.refresh_from_db()
    assert WorksConfirmation.objects.get().items == ["R2"] and case.stage == Stage.FOLLOW_UP
    assert "What was done" in client.get(reverse("client_home")).content.decode()


def test_the_assessor_reads_how_the_house_has_to_be(client, order, ole, office) -> None:
    assessor = UserFactory(role="assessor")
    assign(assessor, order.case.property)
    keep(order, order.items.first(), ole, result="done differently", words="Two switches.")
    keep(order, order.items.last(), ole)
    accept_report(report=signed(order, ole), by=office, now=timezone.now())
    client.force_login(assessor)
    text = client.get(reverse("case_works", args=[order.case.reference])).content.decode()
    assert "asleep" in text and "Two switches." in text and "Read again" in text
    assert "Order the works" not in text


def test_an_erased_order_says_so(client, order, office) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(content={}, content_sha256="")
    client.force_login(office)
    assert "were erased with its client" in client.get(page_of(order)).content.decode()


def test_phone_numbers_are_dialled_at_a_tap() -> None:
    text = phone_links("Rosa <b>: +49 (4999) 555-01 or 2 keys")
    assert text == 'Rosa &lt;b&gt;: <a href="tel:+49499955501">+49 (4999) 555-01</a> or 2 keys'


def test_a_result_that_somebody_changed_meanwhile_is_not_overwritten(client, order, ole) -> None:
    row = order.items.first()
    keep(order, row, ole)
    client.force_login(ole)
    form = reverse("report_result", args=[order.pk, row.pk])
    stale = opened(client, form)
    client.post(form, stale | {"result": "done differently", "words": "Two switches."})
    answer = client.post(form, stale | {"result": "not possible", "words": "No room."})
    assert answer.status_code == 422 and "changed this meanwhile" in answer.content.decode()
    assert WorkResult.objects.get().words == "Two switches."


def test_a_licence_that_runs_out_before_the_work_is_called_out_to_the_office(
    client, order, ole, office
) -> None:
    yesterday = timezone.localdate() - dt.timedelta(days=1)
    type(order.firm).objects.filter(pk=order.firm_id).update(licence_until=yesterday)
    report = reported(order, ole)  # what was done is reported all the same
    client.force_login(office)
    text = client.get(page_of(order)).content.decode()
    assert f"The licence of {order.firm} ran out on" in text
    assert report.licence == "HWK 4711"
