"""In the register, as in a file, the number of a certificate stands for its content."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from surveys.models import Calibration, Instrument
from surveys.services.registers import add_calibration, change_calibration
from tests.factories import CalibrationFactory, UserFactory

pytestmark = pytest.mark.django_db
ROW = {
    "quantity": "electric field",
    "unit": "V/m",
    "gain_percent": "6",
    "resolution": "0.1",
    "certificate": "K-100",
    "calibrated_on": "2026-02-10",
    "due_on": "2027-01-10",
}


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


@pytest.fixture
def known(office):
    """K-100 of 2026-01-10, for the electric field up to 2000 V/m."""
    return CalibrationFactory(ceiling=2000.0)


def test_the_same_number_with_another_range_is_refused_in_words(client, known):
    address = reverse("calibration_add", args=[known.instrument_id])
    answer = client.post(address, ROW | {"ceiling": "3000"})
    assert answer.status_code == 422
    words = answer.content.decode()
    assert "Certificate K-100 is known for this instrument and quantity" in words
    assert "Ceiling 2000, and not 3000; Calibrated on Jan. 10, 2026, and not Feb. 10, 2026" in words
    assert "Due on" not in words.split("other content:")[1].split("</li>")[0]
    assert Calibration.objects.count() == 1
    assert client.post(address, ROW | {"certificate": "K-101"}).status_code == 302


@pytest.mark.parametrize("change", [{"quantity": "body voltage", "unit": "mV"}, {}])
def test_another_quantity_or_instrument_may_have_the_number(client, known, change):
    instrument = known.instrument if change else Instrument.objects.create(name="meter B")
    address = reverse("calibration_add", args=[instrument.pk])
    assert client.post(address, ROW | change).status_code == 302


def test_rows_without_a_number_do_not_clash(office, known):
    fields = {"quantity": "electric field", "unit": "V/m", "resolution": 0.1}
    for gain in (5.0, 7.0):
        given = fields | {"gain_percent": gain, "calibrated_on": f"2026-03-0{int(gain)}"}
        add_calibration(instrument=known.instrument, by=office, certificate="", **given)
    assert Calibration.objects.filter(certificate="").count() == 2


def test_a_certificate_is_put_right_under_its_own_number_but_gets_no_other_ones(office, known):
    change_calibration(calibration=known, by=office, ceiling=3000.0)
    assert Calibration.objects.get().ceiling == 3000.0
    other = CalibrationFactory(certificate="K-101", calibrated_on=None)
    with pytest.raises(ValidationError, match="K-100 is known") as refused:
        change_calibration(calibration=other, by=office, certificate="K-100")
    assert set(refused.value.message_dict) == {"certificate"}
