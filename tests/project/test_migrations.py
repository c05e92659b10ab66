"""`migrate` leaves a usable system, and no model has changed without its migration."""

from io import StringIO

import pytest
from django.core.management import call_command

from consult.models import User
from surveys.models import Guideline

pytestmark = pytest.mark.django_db

# Standard of Building Biology Testing Methods, 2008 and 2015.
BOUNDS = {
    "electric-field-ground": [1, 5, 50, None],
    "electric-field-potential-free": [0.3, 1.5, 10, None],
    "body-voltage": [10, 100, 1000, None],
    "magnetic-flux-density": [20, 100, 500, None],
}


@pytest.mark.parametrize(("code", "word"), [("SBM-2008", "concern"), ("SBM-2015", "anomaly")])
def test_the_guidelines_are_there(code, word):
    guideline = Guideline.objects.get(code=code)
    for measurand, bounds in BOUNDS.items():
        bands = guideline.bands.filter(measurand=measurand).order_by("number")
        assert [band.upper for band in bands] == bounds
        assert [band.name for band in bands] == [
            f"{degree} {word}" for degree in ("no", "slight", "severe", "extreme")
        ]
    assert guideline.is_built_in


def test_the_four_roles_are_there():
    assert set(User.Role.values) == {"office", "assessor", "electrician", "client"}


def test_every_change_of_a_model_has_its_migration():
    out = StringIO()
    call_command("makemigrations", "--check", "--dry-run", stdout=out)
    assert "No changes detected" in out.getvalue()
