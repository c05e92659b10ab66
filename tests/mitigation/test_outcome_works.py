"""What an outcome letter says of works: done by whom, promised and found, offered and charged."""

from decimal import Decimal

import pytest
from django.utils import timezone

from consult.letters.formats import Formats
from mitigation.letters.outcome_works import PromiseFacts, WorksFacts, works_blocks
from mitigation.models import Case, PlanItem, Stage
from mitigation.services.decisions import decide
from mitigation.services.work_reports import accept_report, add_value
from tests.factories import UserFactory, issue_outcome_letter, offered_plan
from tests.mitigation.ordered_works import case_at_works, electrician, keep, sent_order, signed

pytestmark = pytest.mark.django_db


def accepted_case() -> Case:
    """A case whose offered plan of two items was accepted whole."""
    case = case_at_works()
    case.items.update(state=PlanItem.State.PROPOSED)
    Case.objects.filter(pk=case.pk).update(stage=Stage.PLAN)
    case.refresh_from_db()
    plan = offered_plan(case)
    decide(
        plan=plan, answer="accepted", option="A", shown_sha256=plan.content_sha256,
        name="Rosa Lind", way="office", now=timezone.now(),
    )  # fmt: skip
    case.refresh_from_db()
    return case


def words_of(letter) -> str:
    return str(letter.content["client"]) + str(letter.content["engineer"])


def test_the_letter_tells_what_was_done_by_whom_and_what_it_cost() -> None:
    case = accepted_case()
    order = sent_order(case)
    assert order.plan is not None
    person, office = electrician(order.firm, name="Ole Brand"), UserFactory()
    first, second = order.items.all()
    add_value(
        order=order, work_item=first, by=person, now=timezone.now(), test="insulation",
        value=0.4, test_voltage_v=500.0, remark="Damp.",
    )  # fmt: skip
    keep(order, first, person, result="done differently", words="Two switches.")
    keep(order, second, person, result="not possible", words="The wall is concrete.")
    accept_report(
        report=signed(order, person), by=office, now=timezone.now(), charged=Decimal("280.00")
    )
    words = words_of(issue_outcome_letter(case=case, by=office, now=timezone.now()))
    for part in ("What was done", "Two switches.", f"{order.firm.name}, Ole Brand",
                 "The wall is concrete.", "Offered: 600.00", "Not carried out: R2",
                 "offered at 300.00", "Charged: 280.00", f"Test values of {order.firm.name}",
                 "MISSED", "Damp.", "Results from others"):  # fmt: skip
        assert part in words.replace("\u00a0", " "), part


def test_without_works_the_letter_says_nothing_of_them() -> None:
    case = case_at_works()
    case.items.all().delete()
    words = words_of(issue_outcome_letter(case=case, by=UserFactory(), now=timezone.now()))
    assert "What was done" not in words and "Results from others" not in words


@pytest.mark.parametrize(
    ("after", "is_inside", "result"),
    [(3.0, True, "within what was expected"), (9.0, False, "higher than expected"),
     (0.5, False, "lower than expected")],
)  # fmt: skip
def test_a_promise_stands_beside_what_was_found(after, is_inside, result) -> None:
    promise = PromiseFacts(
        room="Bedroom", spot="bed head", measurand="magnetic-flux-density", unit="nT", low=200.0,
        high=400.0, probability=0.97, after=100 * after, is_inside=is_inside, is_met=True,
    )  # fmt: skip
    works = WorksFacts(promises=(promise,))
    blocks = works_blocks(works, Formats("en", "US"), "mG")
    row = [cell.replace("\u00a0", " ") for cell in blocks[1]["groups"][0]["rows"][0]]
    assert row[2:] == ["2 … 4 mG", f"{after:g} mG", result]
