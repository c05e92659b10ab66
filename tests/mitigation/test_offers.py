"""A plan is offered, frozen, answered once, and takes the case on by itself."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone

from consult.letters.html import letter_html
from consult.models import Client, Job, Letter, OutboundMail, Property
from consult.services.jobs import enqueue
from consult.services.letters import content_sha256, retry_letter
from consult.services.privacy.erasures import erase_person
from consult.services.sending import email_letter, letter_token
from consult.tasks import run_job
from mitigation.models import Case, Decision, Note, Plan, PlanItem, Prediction, Stage
from mitigation.services.decisions import decide
from mitigation.services.imports import import_case_folder
from mitigation.services.offers import items_state, offer_plan
from mitigation.services.plan_items import change_item
from mitigation.services.trial_fits import plan_sampling, unsampled_trials
from tests.factories import UserFactory
from tests.mitigation.planned_homes import three_circuits, upload

ALL_THREE = ["R1", "R2", "R3"]


def planned_case(reference: str = "EB-P1"):
    """A case whose trial is sampled, with its client's log-in."""
    files = three_circuits(reference=reference)
    case = import_case_folder(source=upload(files), by=None, now=timezone.now()).case
    plan_sampling(case)
    for job in Job.objects.filter(kind="sample-trials"):
        run_job(job.pk)
    assert not unsampled_trials(case)
    client = case.property.client
    client.user, client.email = UserFactory(role="client"), "alwine@example.org"
    client.save()
    return case


@pytest.fixture
def office():
    return UserFactory(role="office", name="Ines Feld")


@pytest.fixture
def case(db):
    return planned_case()


@pytest.fixture
def plan(case, office):
    return offer(case, office, ALL_THREE)


def offer(case, office, *options, **more):
    return offer_plan(
        case=case, by=office, now=more.pop("now", timezone.now()), options=options, **more
    )


def answer(plan, **more):
    given = {
        "answer": "accepted", "option": "A", "shown_sha256": plan.content_sha256,
        "name": "Alwine Torhaus", "way": "log-in", "now": timezone.now(),
    }  # fmt: skip
    return decide(plan=plan, **given | more)


def ready(plan) -> Letter:
    job = Job.objects.get(key=f"render-letter:{plan.letter.number}")
    run_job(job.pk)
    plan.letter.refresh_from_db()
    assert plan.letter.state == Letter.State.READY, plan.letter.failure
    return plan.letter


@pytest.mark.django_db
def test_an_offer_freezes_items_prices_and_predictions(case, plan) -> None:
    option = plan.content["options"][0]
    assert [item["name"] for item in option["items"]] == ALL_THREE
    assert option["cost"] == 750.0 and "750.00" in option["cost_words"]
    assert "60" in option["items"][0]["why"] or "57" in option["items"][0]["why"]
    prediction = Prediction.objects.get(plan=plan)
    assert prediction.probability >= 0.9 and prediction.low < prediction.median < prediction.high
    assert plan.content_sha256 == content_sha256(plan.content)
    PlanItem.objects.filter(case=case).update(cost=1)
    plan.refresh_from_db()
    assert plan.content["options"][0]["cost"] == 750.0
    with pytest.raises(Exception, match="not changed"), transaction.atomic():
        Plan.objects.filter(pk=plan.pk).update(content={})
    with pytest.raises(Exception, match="promised"), transaction.atomic():
        Prediction.objects.update(probability=1.0)


@pytest.mark.django_db
def test_the_case_moves_by_itself(case, plan) -> None:
    case.refresh_from_db()
    assert case.stage == Stage.DECISION
    answer(plan)
    case.refresh_from_db()
    assert case.stage == Stage.WORKS
    assert set(case.items.filter(state="accepted").values_list("name", flat=True)) == set(ALL_THREE)


@pytest.mark.django_db
def test_a_second_click_offers_nothing_new_and_a_change_replaces(case, office, plan) -> None:
    assert offer(case, office, ALL_THREE) == plan
    newer = offer(case, office, ["R1"])
    plan.refresh_from_db()
    assert newer.number == 2 and plan.replaced_at is not None
    with pytest.raises(ValidationError, match="newer plan replaced"):
        answer(plan)


@pytest.mark.django_db
def test_items_that_changed_meanwhile_are_not_offered(case, office) -> None:
    seen = items_state(case)
    item = case.items.get(name="R1")
    change_item(item=item, by=office, cost=999)
    with pytest.raises(ValidationError, match="changed the items meanwhile"):
        offer(case, office, ALL_THREE, seen=seen)


@pytest.mark.django_db
def test_single_items_where_they_may_be_parted(case, office) -> None:
    plan = offer(case, office, ALL_THREE, may_be_parted=True)
    decision = answer(plan, items=["R3", "R1"])
    assert decision.items == ["R1", "R3"]
    states = dict(case.items.values_list("name", "state"))
    assert states == {"R1": "accepted", "R2": "declined", "R3": "accepted", "R4": "proposed"}


@pytest.mark.django_db
def test_without_parting_the_whole_option_is_accepted(plan) -> None:
    assert answer(plan, items=["R1"]).items == ALL_THREE


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"shown_sha256": "0" * 64}, "not the one that you were shown"),
        ({"option": "B"}, "Choose one of the options"),
        ({"now": timezone.now() + timedelta(days=99)}, "held until"),
    ],
)
def test_what_is_no_answer_is_refused(plan, given, words) -> None:
    with pytest.raises(ValidationError, match=words):
        answer(plan, **given)
    assert not Decision.objects.exists()


@pytest.mark.django_db
def test_of_two_answers_the_first_stands(plan) -> None:
    first = answer(plan)
    assert answer(plan) == first  # a second click
    with pytest.raises(ValidationError, match="That answer stands"):
        answer(plan, answer="declined", option="", name="Somebody else")
    with pytest.raises(Exception, match="as it was made"), transaction.atomic():
        Decision.objects.update(answer="declined")


@pytest.mark.django_db(transaction=True)
def test_two_people_at_once_get_one_answer() -> None:
    plan = offer(planned_case(), UserFactory(role="office"), ALL_THREE)
    start = threading.Barrier(2)
    answers: list[str] = []

    def decide_now(given) -> None:
        try:
            start.wait(timeout=20)
            answer(Plan.objects.get(pk=plan.pk), **given)
            answers.append("kept")
        except ValidationError as error:
            answers.append(error.messages[0])
        finally:
            connection.close()

    both = [{"name": "Alwine"}, {"name": "Bruno", "answer": "declined", "option": ""}]
    threads = [threading.Thread(target=decide_now, args=(given,)) for given in both]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert Decision.objects.count() == 1
    assert sorted(words == "kept" for words in answers) == [False, True]


@pytest.mark.django_db
def test_a_declined_plan_waits_for_the_office(case, plan) -> None:
    answer(plan, answer="declined", option="", words="Too dear for us.")
    case.refresh_from_db()
    assert case.stage == Stage.DECISION
    assert Note.objects.get(case=case).text.endswith("Too dear for us.")


@pytest.mark.django_db
def test_a_letter_is_mailed_once_when_it_becomes_ready_however_late(case, plan) -> None:
    sending = Job.objects.filter(kind="send-offer")
    letter = plan.letter
    assert not sending.exists()  # nothing looks whether it is ready
    Job.objects.filter(key=f"render-letter:{letter.number}").update(state=Job.State.DEAD)
    Letter.objects.filter(pk=letter.pk).update(state=Letter.State.FAILED)
    retry_letter(letter=letter, by=None, now=timezone.now() + timedelta(days=3))
    Job.objects.update(run_after=timezone.now())
    ready(plan)
    job = sending.get()
    assert job.arguments == {"letter": letter.pk}
    for _run in range(2):
        run_job(job.pk)
        Letter.objects.filter(pk=letter.pk).update(emailed_at=None)  # as if it had died here
        sending.update(state=Job.State.WAITING)
    assert OutboundMail.objects.filter(letter=letter).count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("why", ["answered", "replaced", "not wanted", "no address"])
def test_a_ready_letter_of_a_plan_stays_where_nobody_should_get_it(case, office, why) -> None:
    plan = offer(case, office, ALL_THREE, send=why != "not wanted")
    if why == "answered":
        answer(plan)
    elif why == "replaced":
        offer(case, office, ["R1"])
    elif why == "no address":
        Client.objects.filter(pk=plan.letter.client_id).update(email="")
    ready(plan)
    jobs = Job.objects.filter(kind="send-offer")
    assert jobs.count() == (why != "not wanted")
    for job in jobs:
        run_job(job.pk)
        job.refresh_from_db()
        assert job.state == Job.State.DONE
    assert not OutboundMail.objects.filter(letter=plan.letter).exists()


@pytest.mark.django_db
@pytest.mark.parametrize("is_ready", [False, True])
def test_a_job_of_an_older_version_mails_what_is_ready_and_asks_no_more(plan, is_ready) -> None:
    if is_ready:
        ready(plan)
    given = {"plan": plan.pk, "look": 0}
    job = enqueue(kind="send-offer", key=f"send-offer:{plan.pk}:0", arguments=given)
    before = Job.objects.count()
    run_job(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.DONE
    assert OutboundMail.objects.filter(letter=plan.letter).count() == is_ready
    assert not Job.objects.filter(key=f"send-offer:{plan.pk}:1").exists()
    assert is_ready or Job.objects.count() == before


@pytest.mark.django_db
def test_the_letter_goes_out_by_itself_and_its_link_answers(client, case, plan) -> None:
    ready(plan)
    run_job(Job.objects.get(kind="send-offer").pk)
    mail = OutboundMail.objects.get(letter=plan.letter)
    token = letter_token(plan.letter, mail.key)
    page = client.get(reverse("plan_link", args=[token])).content.decode()
    assert "Our proposal for your home" in page and "750.00" in page
    shown = {"answer": "accepted", "option": "A", "shown": plan.content_sha256, "name": "Alwine"}
    sent = client.post(reverse("plan_link_decide", args=[token]), shown)
    assert sent.status_code == 302
    decision = Decision.objects.get()
    assert (decision.way, decision.name, decision.decided_by) == ("link", "Alwine", None)
    again = client.get(reverse("plan_link", args=[token])).content.decode()
    assert "Accepted" in again and "<button>Accept" not in again


@pytest.mark.django_db
def test_a_link_of_another_letter_or_a_withdrawn_one_shows_no_plan(client, case, plan) -> None:
    letter = ready(plan)
    office = UserFactory(role="office")
    mail = email_letter(letter=letter, by=office, site="http://x", now=timezone.now())
    token = letter_token(letter, mail.key)
    assert client.get(reverse("plan_link", args=[token])).status_code == 200
    OutboundMail.objects.filter(pk=mail.pk).update(withdrawn_at=timezone.now())
    assert client.get(reverse("plan_link", args=[token])).status_code == 410
    for name in ("plan_link_decide", "plan_link_ask"):
        assert client.post(reverse(name, args=[token]), {}).status_code == 410


@pytest.mark.django_db
def test_the_client_answers_with_a_log_in(client, case, plan) -> None:
    client.force_login(case.property.client.user)
    home = client.get(reverse("client_home")).content.decode()
    assert reverse("plan_offer", args=[plan.pk]) in home
    page = client.get(reverse("plan_offer", args=[plan.pk])).content.decode()
    assert "Done by a licensed electrician." in page
    shown = {"answer": "accepted", "option": "A", "shown": plan.content_sha256, "name": ""}
    refused = client.post(reverse("plan_decide", args=[plan.pk]), shown)
    assert refused.status_code == 422 and not Decision.objects.exists()
    client.post(reverse("plan_decide", args=[plan.pk]), shown | {"name": "Alwine Torhaus"})
    assert Decision.objects.get().way == "log-in"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("country", "words"),
    [
        ("GB", "done by a registered electrician under the wiring regulations"),
        ("US", "done by a licensed electrician under the local code"),
    ],
)
def test_an_accepted_plan_words_its_caution_as_the_trade_of_the_home(
    client, case, plan, country, words
) -> None:
    answer(plan)
    Property.objects.filter(pk=case.property_id).update(country=country)
    client.force_login(case.property.client.user)
    assert words in client.get(reverse("plan_offer", args=[plan.pk])).content.decode()


@pytest.mark.django_db
def test_a_question_comes_back_as_a_note(client, case, plan) -> None:
    client.force_login(case.property.client.user)
    asked = {"name": "Alwine", "question": "Does the fridge stay on?"}
    client.post(reverse("plan_ask", args=[plan.pk]), asked)
    assert "Does the fridge stay on?" in Note.objects.get(case=case).text
    assert not Decision.objects.exists()


@pytest.mark.django_db
def test_of_an_erased_client_the_number_and_the_digest_of_a_plan_stay(
    client, case, office, plan
) -> None:
    ready(plan)
    answer(plan, answer="declined")
    Case.objects.filter(pk=case.pk).update(stage=Stage.DECLINED)
    erase_person(person=case.property.client, by=office, now=timezone.now(), reason="asked for it")
    client.force_login(office)
    page = client.get(reverse("plan_offer", args=[plan.pk]))
    words = page.content.decode()
    assert page.status_code == 200 and "erased" in words and plan.content_sha256 in words
    assert "Alwine" not in words
    with pytest.raises(ValidationError, match="erased"):
        answer(plan)


def test_a_silent_client_is_reminded_and_one_who_answered_is_not(case, plan) -> None:
    letter = ready(plan)
    email_letter(letter=letter, by=UserFactory(), site="http://x", now=timezone.now())
    first, second = Job.objects.filter(kind="remind-offer").order_by("run_after")
    assert (first.run_after - plan.offered_at).days == 7
    Job.objects.filter(pk__in=[first.pk, second.pk]).update(run_after=timezone.now())
    run_job(first.pk)
    (mail,) = OutboundMail.objects.filter(key__endswith="reminder-7")
    assert "/offers/link/" in mail.body and "waits for your answer" in mail.body
    answer(plan)
    run_job(second.pk)
    assert not OutboundMail.objects.filter(key__endswith="reminder-21").exists()


@pytest.mark.django_db
def test_the_letter_says_what_to_do_and_what_to_expect(plan) -> None:
    content = plan.letter.content
    page = letter_html(content)
    assert "The place where you sleep will very likely be in the target range." in page
    assert "demand switch" in page and "750.00" in page and "attribution-1" in page
    assert "Only" in page or "licensed electrician" in page


@pytest.mark.django_db
def test_the_office_offers_with_options_on_its_page(client, case, office) -> None:
    client.force_login(office)
    address = reverse("plan_make_offer", args=[case.reference])
    items = {item.name: item.pk for item in case.items.all()}
    seen = client.get(address).context["form"]["seen"].value()
    refused = client.post(address, {"seen": seen})
    assert refused.status_code == 422
    ticks = {f"A-{items[name]}": "on" for name in ALL_THREE} | {f"B-{items['R1']}": "on"}
    sent = client.post(address, ticks | {"seen": seen, "send": "on"})
    plan = Plan.objects.get()
    assert sent.url == reverse("plan_offer", args=[plan.pk])
    assert [row["letter"] for row in plan.content["options"]] == ["A", "B"]
    assert Prediction.objects.filter(plan=plan).count() == 2
