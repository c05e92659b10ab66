"""An entry is changed where it stands, and on a page of its own without script."""

import re
from datetime import date
from uuid import uuid4

import pytest
from django.urls import reverse

from consult.models import Client
from surveys.models import Calibration, GroundCheck, GroundPoint, Visit
from surveys.services.visits import plan_visit
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    ClientFactory,
    UserFactory,
    compared_case,
)

pytestmark = pytest.mark.django_db
IN_PART = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def edited(client) -> Client:
    client.force_login(UserFactory(role="office"))
    return ClientFactory(name="Ada Brook")


def answer(client, row: Client, **fields) -> dict[str, str]:
    form = client.get(reverse("client_edit", args=[row.pk])).context["form"]
    return {**{name: form[name].value() or "" for name in form.fields}, **fields}


def test_a_control_gets_the_form_alone_and_everybody_else_the_page(client, edited) -> None:
    address = reverse("client_edit", args=[edited.pk])
    part, page = client.get(address, **IN_PART), client.get(address)
    assert part.content.lstrip().startswith(b"<form") and b"<html" not in part.content
    assert part.content.count(b"autofocus") == 1
    assert b"<html" in page.content and b"hx-post" not in page.content
    assert "HX-Request" in part["Vary"] and "HX-Request" in page["Vary"]


def test_what_is_wrong_stands_in_the_form_where_it_was_opened(client, edited) -> None:
    wrong = answer(client, edited, email="nobody")
    refused = client.post(reverse("client_edit", args=[edited.pk]), wrong, **IN_PART)
    assert refused.status_code == 422
    assert refused.content.lstrip().startswith(b"<form") and b"nobody" in refused.content
    assert Client.objects.get(pk=edited.pk).email == edited.email


def test_what_was_kept_comes_back_as_the_page_it_changed(client, edited) -> None:
    right = answer(client, edited, name="Ada Brook-Lindt")
    kept = client.post(reverse("client_edit", args=[edited.pk]), right, **IN_PART)
    assert (kept.status_code, kept["HX-Redirect"]) == (
        200,
        reverse("client_detail", args=[edited.pk]),
    )
    assert Client.objects.get(pk=edited.pk).name == "Ada Brook-Lindt"


def forms_of_surveys() -> list[str]:
    """Each plain form of what was measured and with what, at a home of its own."""
    case = compared_case()
    visit = plan_visit(
        home=case.property, kind="baseline", day=BASELINE_DAY, by=UserFactory(), assessor="A. Brook"
    )
    point = GroundPoint.objects.create(property=case.property, name="water pipe")
    check = GroundCheck.objects.create(visit=visit, point=point)
    # Of its own, because sealed readings stand on the other one.
    certificate = CalibrationFactory(calibrated_on=date(2026, 8, 1))
    meter = certificate.instrument
    return [
        reverse("visit_edit", args=[visit.pk]),
        reverse("ground_check_correct", args=[check.pk]),
        reverse("instrument_add"),
        reverse("instrument_edit", args=[meter.pk]),
        reverse("calibration_add", args=[meter.pk]),
        reverse("calibration_edit", args=[certificate.pk]),
    ]


def test_every_plain_form_of_surveys_is_the_same_form(client) -> None:
    client.force_login(UserFactory(role="office"))
    for address in forms_of_surveys():
        page, part = client.get(address), client.get(address, **IN_PART)
        assert b"<html" in page.content and b"hx-post" not in page.content
        assert part.content.lstrip().startswith(b"<form") and b"hx-post" in part.content
        assert part.content.count(b"autofocus") == 1
        assert not re.search(rb'type="hidden"[^>]*autofocus', part.content), "nobody types there"
        for how in ({}, IN_PART):
            refused = client.post(address, {"key": str(uuid4())}, **how)
            assert refused.status_code == 422
            assert "HX-Request" in refused["Vary"]
            assert refused.content.lstrip().startswith(b"<form") == bool(how)


def test_a_form_of_surveys_leads_back_to_where_it_belongs(client) -> None:
    client.force_login(UserFactory(role="office"))
    visit_form, *_others, calibration_form = forms_of_surveys()
    page = client.get(visit_form).content.decode()
    visit = Visit.objects.get(sealed_at=None)
    assert (
        f'<a href="{reverse("visit_detail", args=[visit.pk])}">{visit.label}</a>, {visit.property}'
        in page
    )
    meter = Calibration.objects.get(calibrated_on=date(2026, 8, 1)).instrument
    detail = reverse("instrument_detail", args=[meter.pk])
    assert (
        f'<a href="{detail}">{meter.name}</a></p>' in client.get(calibration_form).content.decode()
    )
    for number, how, place in (("K-7", IN_PART, "HX-Redirect"), ("K-8", {}, "Location")):
        form = client.get(calibration_form).context["form"]
        sent = {name: form[name].value() or "" for name in form.fields} | {"certificate": number}
        assert client.post(calibration_form, sent, **how)[place] == detail
        assert Calibration.objects.get(calibrated_on=date(2026, 8, 1)).certificate == number
