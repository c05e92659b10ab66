"""Orders: one for each firm, frozen when sent, answered, amended, called off."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from consult.models import Job, Letter, OutboundMail
from consult.services.changes import version_of
from consult.tasks import run_job
from mitigation.models import Note, Stage, WorkOrder
from mitigation.models.progress import next_step
from mitigation.services.progress import facts_of
from mitigation.services.work_orders import (
    call_off_order,
    change_order,
    items_to_order,
    make_orders,
    order_of_token,
    order_token,
    refuse_order,
    send_order,
    take_order,
)
from tests.factories import UserFactory
from tests.mitigation.ordered_works import case_at_works, electrician, firm, sent_order

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return UserFactory(name="Ines Feld")


def step(case) -> str:
    now = timezone.now()
    return str(next_step(case.stage, set(facts_of([case.pk], now=now)[case.pk])).words)


def test_each_firm_gets_one_order_of_its_items(office) -> None:
    case = case_at_works()
    first, second = case.items.all()
    north, south = firm(name="North"), firm(name="South")
    given = {"case": case, "by": office, "now": timezone.now()}
    orders = make_orders(
        **given, firm_of={first.pk: south, second.pk: north}, words_of={first.pk: "Mind the dog."}
    )
    assert [(order.firm.name, order.number) for order in orders] == [("North", 1), ("South", 2)]
    assert orders[1].items.get().words == "Mind the dog."
    assert make_orders(**given, firm_of={first.pk: north}) == []  # a second click
    assert not items_to_order(case).exists()


def test_an_order_that_is_sent_is_frozen_with_its_letter_and_its_mail(office) -> None:
    case = case_at_works()
    order = sent_order(case)
    assert order.state == WorkOrder.State.SENT and order.letter is not None
    assert order.letter.firm == order.firm and order.letter.kind == "work-order"
    assert [item["name"] for item in order.content["items"]] == ["R1", "R2"]
    assert order.content["circuits"][0]["is_named"]
    mail = OutboundMail.objects.get(key__startswith=f"order:{order.pk}:")
    assert mail.to == order.firm.email and "/work-orders/link/" in mail.body
    send_order(order=order, by=office, now=timezone.now())  # a second click
    assert OutboundMail.objects.filter(key__startswith="order:").count() == 1
    assert Letter.objects.filter(kind="work-order").count() == 1


def test_a_sheet_says_no_price_and_no_word_of_the_client(office) -> None:
    case = case_at_works()
    case.items.update(cost=777, note="Client is short of money.")
    order = sent_order(case)
    words = str(order.content) + str(order.letter.content)
    assert "777" not in words and "short of money" not in words


def test_the_letter_of_an_order_becomes_a_file(office) -> None:
    order = sent_order(case_at_works())
    run_job(Job.objects.get(key=f"render-letter:{order.letter.number}").pk)
    order.letter.refresh_from_db()
    assert order.letter.state == Letter.State.READY, order.letter.failure


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"licence": ""}, "No licence"),
        ({"licence_until": dt.date(2026, 1, 31)}, "licence of"),
        ({"insurance_until": dt.date(2026, 1, 31)}, "insurance of"),
    ],
)
def test_a_licence_that_ran_out_wants_a_reason(office, fields, words) -> None:
    case = case_at_works()
    to = firm(**fields)
    firm_of = {item.pk: to for item in case.items.all()}
    [order] = make_orders(case=case, by=office, now=timezone.now(), firm_of=firm_of)
    with pytest.raises(ValidationError, match=words):
        send_order(order=order, by=office, now=timezone.now())
    order.refresh_from_db()
    assert order.state == WorkOrder.State.DRAFT and order.letter is None
    sent = send_order(order=order, by=office, now=timezone.now(), reason="Renewal is filed.")
    assert sent.licence_reason == "Renewal is filed."


def test_the_firm_takes_an_order_on_once_or_refuses_it_with_why(office) -> None:
    case = case_at_works()
    order = sent_order(case)
    now = timezone.now()
    take_order(order=order, name="Ole Brand", by=None, now=now)
    take_order(order=order, name="Somebody Else", by=None, now=now)
    order.refresh_from_db()
    assert order.answered_by == "Ole Brand" and order.seen_at is not None
    with pytest.raises(ValidationError, match="Say why"):
        refuse_order(order=order, name="Ole Brand", reason=" ", by=None, now=now)
    refuse_order(order=order, name="Ole Brand", reason="No time before May.", by=None, now=now)
    assert Note.objects.get(case=case).text.endswith("No time before May.")
    assert items_to_order(case).count() == 2  # they wait for another firm
    assert step(case) == "order the works"


def test_what_is_amended_is_another_sheet_and_ends_the_old_link(office) -> None:
    order = sent_order(case_at_works())
    key = OutboundMail.objects.get(key__startswith="order:").key
    token = order_token(order, key)
    assert order_of_token(token) == order
    old = order.letter
    WorkOrder.objects.filter(pk=order.pk).update(seen_at=timezone.now())
    given = {"access": "Ring twice", "due_on": dt.date(2027, 3, 1)}
    order.refresh_from_db()
    change_order(order=order, by=office, now=timezone.now(), seen=version_of(order), values=given)
    order.refresh_from_db()
    assert order.letter.corrects == old and order.content["access"] == "Ring twice"
    assert order.seen_at is None  # nobody saw this one
    assert order_of_token(token) is None
    assert OutboundMail.objects.filter(key__startswith="order:").count() == 2


def test_a_change_over_somebody_elses_is_refused(office) -> None:
    order = sent_order(case_at_works())
    seen = version_of(order)
    now = timezone.now()
    change_order(order=order, by=office, now=now, seen=seen, values={"access": "Ring twice"})
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        change_order(order=order, by=office, now=now, seen=seen, values={"access": "Knock"})


def test_an_order_that_is_called_off_tells_the_firm(office) -> None:
    case = case_at_works()
    order = sent_order(case)
    now = timezone.now()
    with pytest.raises(ValidationError, match="Say why"):
        call_off_order(order=order, by=office, now=now, reason="")
    call_off_order(order=order, by=office, now=now, reason="The client moves out.")
    call_off_order(order=order, by=office, now=now, reason="The client moves out.")
    mail = OutboundMail.objects.get(key=f"order-off:{order.pk}")
    assert "The client moves out." in mail.body
    assert items_to_order(case).count() == 2
    with pytest.raises(ValidationError, match="by now"):
        take_order(order=order, name="Ole", by=None, now=now)


def test_the_next_step_follows_orders(office) -> None:
    case = case_at_works()
    assert step(case) == "order the works"
    order = sent_order(case)
    assert step(case) == "carry out the work"
    assert order.case.stage == Stage.WORKS


def test_nothing_is_ordered_in_a_case_that_ended(office) -> None:
    case = case_at_works()
    case.stage = Stage.CLOSED
    case.save()
    with pytest.raises(ValidationError, match="has ended"):
        make_orders(case=case, by=office, now=timezone.now(), firm_of={})


def test_a_firm_sees_its_own_sent_orders_alone(office) -> None:
    case = case_at_works()
    order = sent_order(case, firm(name="North"))
    ours, theirs = electrician(order.firm), electrician(firm(name="South"))
    assert list(WorkOrder.objects.visible_to(ours)) == [order]
    assert not WorkOrder.objects.visible_to(theirs).exists()
    assert not Letter.objects.visible_to(ours).exists()  # it is not ready yet
    other = case_at_works("demand-switch")
    firm_of = {other.items.get().pk: order.firm}
    make_orders(case=other, by=office, now=timezone.now(), firm_of=firm_of)
    assert list(WorkOrder.objects.visible_to(ours)) == [order]  # a draft is not theirs yet
