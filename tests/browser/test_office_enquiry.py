"""The office takes a call: an enquiry, a question about a client who is there, a hold."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from consult.models import Client, MedicalDevice
from mitigation.models import Case, Enquiry
from tests.cast import make_cast
from tests.factories import CaseFactory, ClientFactory, PropertyFactory, VisitFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_client_who_is_there_is_taken_in_one_click(look, visitors) -> None:
    cast = make_cast()
    known = ClientFactory(name="Ida Moor", phone="0460 123456")
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open("/clients/")
    visitor.follow("Enter a client")
    page.get_by_label("Name", exact=True).fill("ida moor")
    page.get_by_label("Phone").fill("+49 460 123456")
    visitor.press("Save")
    expect(page.get_by_label("Yes, I mean it: this is somebody else")).not_to_be_checked()
    visitor.look_over("a client who is there already")
    visitor.follow("Take that client instead")
    expect(page.get_by_role("heading", name="Ida Moor")).to_be_visible()
    assert Client.objects.filter(name__iexact="ida moor").get() == known
    visitor.look_over("a client without homes")


def test_an_enquiry_is_folded_in_and_a_device_withdrawn(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open(f"/properties/{PropertyFactory().pk}/cases/open/")
    page.get_by_label("Guideline").select_option("SBM-2015")
    page.get_by_label("Reference").fill("CALL-1")
    expect(page.get_by_label("Reason of the call")).to_be_hidden()
    visitor.unfold("Enquiry: what the client said")
    page.get_by_label("Reason of the call").fill("Hums at night")
    page.get_by_label("Powered medical device").fill("ventilator")
    visitor.look_over("opening a case with an enquiry")
    visitor.press("Save")
    expect(page.get_by_text("Without their consent it is not kept")).to_be_visible()
    expect(page.get_by_label("Reason of the call")).to_be_visible()
    page.get_by_label("They agreed that we keep this").check()
    visitor.press("Save")
    expect(page.get_by_text("Ask before switching circuits off.")).to_be_visible()
    expect(page.get_by_text("Hums at night")).to_be_visible()
    visitor.look_over("a new case with an enquiry")
    visitor.press("They no longer agree: forget it")
    expect(page.get_by_text("Ask before switching circuits off.")).to_have_count(0)
    assert Enquiry.objects.get().reason == "Hums at night"
    assert MedicalDevice.objects.get().words == ""
    visitor.follow("Change the enquiry")
    page.get_by_label("Who sleeps where").fill("Child by the stairs")
    visitor.press("Save")
    expect(page.get_by_text("Child by the stairs")).to_be_visible()


def test_a_case_rests_until_a_day_and_its_visit_says_so(look, visitors) -> None:
    cast = make_cast()
    case, today = CaseFactory(stage="baseline"), timezone.localdate()
    visit = VisitFactory(property=case.property, date=today, sealed_at=None)
    case.case_visits.create(visit=visit)
    visitor = visitors.enter(cast.people["office"], **look)
    page = visitor.page
    visitor.open(f"/cases/{case.reference}/")
    visitor.unfold("Hold, decline, hand over")
    page.get_by_label("Put on hold because").fill("Holidays")
    page.get_by_label("until").fill(str(today + timedelta(days=5)))
    visitor.look_over("holding a case")
    visitor.press("Hold")
    expect(page.get_by_text("On hold until")).to_be_visible()
    visitor.look_over("a case on hold until a day")
    assert Case.objects.get(pk=case.pk).on_hold_until == today + timedelta(days=5)
    visitor.open("/desk/")
    visits = page.get_by_role("region", name="Visits of the next two weeks")
    expect(visits).to_contain_text("on hold until")
    visitor.look_over("the desk with a held visit")
    visitor.open(f"/cases/{case.reference}/history/")
    visitor.look_over("a short history")
