"""The day of an electrician on a phone: read, report, lose the connection, sign."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from mitigation.models import TestValue, WorkOrder, WorkReport
from mitigation.services.work_reports import accept_report
from tests.browser.visitor import PHONE_WIDTH, Visitor
from tests.factories import UserFactory
from tests.mitigation.ordered_works import case_at_works, electrician, sent_order

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_report_survives_a_lost_connection(visitors) -> None:
    order = sent_order(case_at_works("bonded-shield"))
    visitor = visitors.enter(electrician(order.firm, name="Ole Brand"), width=PHONE_WIDTH)
    page = visitor.page
    visitor.open("/")
    visitor.look_over("an electrician's first page")
    page.get_by_role("link", name="Mill Lane").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(order.case.reference)
    visitor.look_over("an order on a phone")

    page.get_by_role("link", name="Say how it ended").click()
    page.get_by_label("done", exact=True).check()
    visitor.look_over("how an item ended")
    visitor.press("Save")
    expect(page.get_by_text("Done", exact=True)).to_be_visible()

    _enter_value_over_a_lost_connection(visitor)
    page.get_by_label("Licence").fill("HWK 4711")
    visitor.look_over("a report before its signature")
    visitor.press("Sign the report")
    expect(page.get_by_text("The report is signed and with the office.")).to_be_visible()
    report = WorkReport.objects.get()
    assert report.signed_name == "Ole Brand"
    accept_report(report=report, by=UserFactory(), now=timezone.now())
    order.refresh_from_db()
    assert order.state == WorkOrder.State.ACCEPTED
    visitor.open(f"/work-orders/{order.pk}/")
    visitor.look_over("an accepted order")


def _enter_value_over_a_lost_connection(visitor: Visitor) -> None:
    page = visitor.page
    page.get_by_role("link", name="Enter a test value").click()
    page.get_by_label("Test", exact=True).select_option("insulation")
    page.get_by_label("Value", exact=True).fill("212")
    page.get_by_text("Test voltage, residual-current device").click()
    page.get_by_label("Test voltage [V dc]").fill("500")
    visitor.context.set_offline(True)
    visitor.press("Save")
    expect(page.get_by_text("There is no connection.")).to_be_visible()
    assert page.get_by_label("Value", exact=True).input_value() == "212"
    assert visitor.forgive("htmx:sendError") == 1
    visitor.context.set_offline(False)
    page.reload()  # as a phone does that put the page to sleep
    page.get_by_role("link", name="Enter a test value").click()
    expect(page.locator("form[hx-post] .kept")).to_be_visible()
    assert page.get_by_label("Value", exact=True).input_value() == "212"
    visitor.press("Save")
    expect(page.get_by_text("212 MΩ")).to_be_visible()
    assert TestValue.objects.get().value == 212.0
    page.get_by_role("link", name="Enter a test value").click()
    assert page.get_by_label("Value", exact=True).input_value() == ""  # nothing is left of it
    page.get_by_role("link", name="Cancel").click()


def test_an_office_orders_and_judges(visitors) -> None:
    case = case_at_works()
    visitor = visitors.enter(UserFactory(name="Ines Feld"))
    order = sent_order(case)
    for address, name in (
        (f"/cases/{case.reference}/works/", "the works of a case"),
        (f"/work-orders/{order.pk}/", "an order in the office"),
        ("/work-orders/", "the list of orders"),
        (f"/work-orders/{order.pk}/edit/", "an order to be changed"),
    ):
        visitor.open(address)
        visitor.look_over(name)
