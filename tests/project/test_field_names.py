"""What a field is called stands in its model: histories and forms ask there."""

import pytest
from django.utils import translation
from django.utils.functional import Promise

from consult.models import Assignment, Client, Contact, Property
from consult.services.histories import UNTOLD, Names
from mitigation.models import Case
from surveys.forms.conditions import ConditionsForm
from surveys.forms.registers import CalibrationForm
from surveys.models import Calibration, GroundCheck, Guideline, Instrument, Room, Spot, Visit

TOLD = (
    Assignment, Calibration, Case, Client, Contact, GroundCheck, Guideline, Instrument, Property,
    Room, Spot, Visit,
)  # fmt: skip


def test_every_value_that_a_history_tells_has_its_name_in_the_model():
    nameless = [
        f"{model.__name__}.{field.name}"
        for model in TOLD
        for field in model.history.model._meta.concrete_fields
        if field.name not in {*UNTOLD, "is_built_in"}
        and not field.name.startswith("history_")
        and field.related_model is None
        and not isinstance(field.verbose_name, Promise)  # a name made of the attribute
    ]
    assert nameless == []


@pytest.mark.django_db
def test_history_and_form_use_it_in_the_language_of_the_reader():
    row = {"resolution": 0.5, "unit": "V/m"}
    tell = Names().teller(Calibration)
    assert tell(row) == {"Unit": "V/m", "Resolution": "0.5"}
    with translation.override("de"):
        assert tell(row) == {"Einheit": "V/m", "Auflösung": "0,5"}
        assert str(CalibrationForm().fields["resolution"].label) == "Auflösung"
        name = Visit._meta.get_field("humidity_percent").verbose_name
        assert str(ConditionsForm.base_fields["humidity_percent"].label) == str(name)
