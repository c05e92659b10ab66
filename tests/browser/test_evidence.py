"""The pages of evidence with homes on them: axe, both schemes, a phone in German, a choice made."""

import pytest
from django.urls import reverse

from consult.models import User
from mitigation.models import KeptEffect, PlanItem
from tests.cast import make_cast
from tests.factories import CaseFactory
from tests.spreadsheets import one_more_effect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAGES = [
    ("manager", "evidence_list"),
    ("its assessor", "promise_list"),
    ("its client", "client_evidence"),
]


@pytest.mark.parametrize("language", ["en", "de"])
def test_filled_pages_are_right_on_a_screen_and_on_a_phone(visitors, language) -> None:
    cast = make_cast()
    for n in range(5):
        one_more_effect(cast, n)
    User.objects.update(language=language)
    wrong = []
    for asker, name in PAGES:
        visitor = visitors.enter(cast.people[asker])
        for width, scheme in ((1280, "light"), (360, "dark")):
            visitor.look(width=width, scheme=scheme)
            visitor.open(reverse(name))
            assert visitor.page.locator(".picture svg:visible").count() >= 1, name
            wrong += [f"{name} {width}: {line}" for line in visitor.axe()]
            if visitor.wider_than_the_screen():
                wrong.append(f"{name} {width}: wider than the screen")
    assert not wrong, "\n".join(wrong)


def test_a_measured_effect_is_chosen_by_a_person(visitors) -> None:
    cast = make_cast()
    for at in range(5):
        KeptEffect.objects.create(
            case=CaseFactory(reference=f"EB-M{at}"), remedy="bonded-shield", group="electric",
            n_rows=1, effect=-1.5 + at / 10, variance=0.01,
        )  # fmt: skip
    visitor = visitors.enter(cast.people["its assessor"])
    visitor.open(reverse("plan_item_add", args=[cast.case.reference, "bonded-shield"]))
    page = visitor.page
    assert page.get_by_label("the assumption of the house").is_checked()
    assert not visitor.axe()
    page.get_by_label("measured in 5 homes").check()
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/plan/")
    assert PlanItem.objects.get().effect_db == pytest.approx(11.3)  # 1.3·20/ln 10
