"""An assessor plans a case in place: ticks items, finds the cheapest plan, keeps and compares."""

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from mitigation.services.imports import import_case_folder
from tests.factories import UserFactory, assign
from tests.mitigation.planned_homes import opposed_circuits, sampled, upload

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_plan_is_made_in_place(visitors, look) -> None:
    source = upload(opposed_circuits())
    case = sampled(import_case_folder(source=source, by=None, now=timezone.now()).case)
    assessor = UserFactory(role="assessor")
    assign(assessor, case.property)
    visitor = visitors.enter(assessor, **look)
    visitor.open(reverse("case_detail", args=[case.reference]))
    visitor.follow("Plan of remedies")
    visitor.look_over("plan")
    page = visitor.page
    head = page.get_by_role("row", name="Bedroom, bed head Electric field")
    expect(head).to_contain_text("may rise")
    page.get_by_label("R2: demand switch").check()
    expect(head).not_to_contain_text("may rise")
    visitor.press("Find the cheapest plan")
    expect(page.locator("#choice .verdict")).to_be_visible()
    visitor.look_over("plan with a choice")
    visitor.follow("Keep this plan as a version")
    page.get_by_label("Name of this version").fill("two switches")
    visitor.press("Save")
    expect(page.get_by_role("region", name="Versions side by side")).to_contain_text("580.00")
    visitor.look_over("versions of a plan")
    visitor.open(reverse("plan_choice", args=[case.reference]))
    visitor.look_over("choice of a plan")
    page.get_by_role("button", name="Take this plan: 1").click()
    expect(page.get_by_label("R2: demand switch")).not_to_be_checked()
    visitor.unfold("Add an item by hand")
    visitor.follow("moved bed")
    expect(page.get_by_label("effect [dB]")).to_be_visible()
    visitor.look_over("plan with a form")
    page.get_by_label("effect [dB]").fill("20")
    page.get_by_label("spread [dB]").fill("3")
    page.get_by_label("cost").fill("150")
    visitor.press("Save")
    expect(page.get_by_label("R6: moved bed")).to_be_visible()
