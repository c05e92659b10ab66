"""What stops a survey, as its reader writes numbers: on pages and in letters."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from consult.letters.content import Addressee, Head, Sender
from consult.models import User
from surveys.models import GroundCheck, GroundPoint, Measurand
from surveys.services.facts import safety_sentences
from tests.cast import make_cast
from tests.factories import CalibrationFactory, SpotFactory, add_reading, issue_survey_report

pytestmark = pytest.mark.django_db

SPACE = "\u00a0"
# Above 5000 V/m and 200 µT, and above 50 V between two ground points.
GERMAN = (f"5200,4{SPACE}V/m", f">{SPACE}250.000{SPACE}nT", f"62,5{SPACE}V")
ENGLISH = (f"5200.4{SPACE}V/m", f">{SPACE}250,000{SPACE}nT", f"62.5{SPACE}V")
NORTH_AMERICAN = (f"5200.4{SPACE}V/m", f">{SPACE}2500{SPACE}mG", f"62.5{SPACE}V")


@pytest.fixture
def cast():
    """A home where the baseline met each kind of number that calls for an electrician."""
    cast = make_cast()
    home = cast.case.property
    visit = cast.case.visits.get(kind="baseline")
    spot, meter = SpotFactory(home=home), CalibrationFactory()
    add_reading(visit, spot, meter, total=5200.4)
    coil = CalibrationFactory(quantity="magnetic flux density", unit="µT")
    flux = {"measurand": Measurand.MAGNETIC_FLUX_DENSITY, "unit": "µT", "total_mark": ">"}
    add_reading(visit, spot, coil, total=250.0, **flux)
    pipe, rod = (
        GroundPoint.objects.create(property=home, name=name) for name in ("water pipe", "rod")
    )
    GroundCheck.objects.create(visit=visit, point=pipe, other_point=rod, voltage_v=62.5)
    return cast


def head(country: str) -> Head:
    return Head(
        number="2026-0001", case_reference="EB-1", issued_on=dt.date(2026, 5, 20),
        sender=Sender("Practice", "Quay 1"), addressee=Addressee("Client", "Quay 2"),
        property_address="Quay 2", country=country,
    )  # fmt: skip


@pytest.mark.parametrize(("language", "expected"), [("de", GERMAN), ("en", ENGLISH)])
def test_pages_write_the_numbers_as_their_reader_does(cast, client, language, expected):
    User.objects.filter(pk=cast.people["office"].pk).update(language=language)
    cast.log_in(client, "office")
    visit = cast.case.visits.get(kind="baseline")
    for url in (reverse("visit_detail", args=[visit.pk]),
                reverse("case_detail", args=[cast.case.reference])):  # fmt: skip
        stop = client.get(url).content.decode().split('class="stop"')[1].split("</section>")[0]
        for shown in expected:
            assert shown.replace(">", "&gt;") in stop


@pytest.mark.parametrize(
    ("language", "country", "expected"),
    [("de", "DE", GERMAN), ("en", "GB", ENGLISH), ("en", "US", NORTH_AMERICAN)],
)
def test_letters_write_them_in_their_language_and_unit(cast, language, country, expected):
    visit = cast.case.visits.get(kind="baseline")
    sentences = safety_sentences([visit], language, head(country))
    assert len(sentences) == 3
    for shown in expected:
        assert sum(shown in sentence for sentence in sentences) == 1


def test_the_survey_report_carries_them(cast):
    client = cast.case.property.client
    client.language = "de"
    client.save()
    letter = issue_survey_report(case=cast.case, by=None, now=timezone.now())
    stop = " ".join(letter.content["client"][0]["entries"])
    for shown in GERMAN:
        assert shown in stop


def test_a_resultant_has_no_more_figures_than_a_display(cast):
    visit = cast.case.visits.get(kind="baseline")
    reading = visit.readings.get(total=5200.4)
    axes = {"x": 4000.0, "y": 4000.0, "z": 1.0, "position": 90}
    add_reading(visit, reading.spot, reading.calibration, **axes)
    # sqrt(4000² + 4000² + 1²) = 5656.8543378…
    (sentence,) = (one for one in safety_sentences([visit], "en", head("DE")) if "5656" in one)
    assert f" 5656.85{SPACE}V/m " in sentence
