"""The panel of a demo case: entered once, and linked to the trials that name its circuits."""

import pytest
from django.utils import timezone

from mitigation.management.demo_practice import enter_sources, read_practice
from mitigation.services.imports import import_case_folder
from surveys.models import Appliance, Circuit, Panel, Reading
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


def test_a_demo_case_has_its_panel_and_a_second_run_adds_nothing():
    (scene,) = (scene for scene in read_practice().cases if scene.circuits)
    office = UserFactory()
    case = import_case_folder(source=scene.folder, by=office, now=timezone.now()).case
    for _run in range(2):
        enter_sources(case, scene, office)
        home = Circuit.objects.at(case.property_id)
        assert set(home.values_list("name", "panel__name")) == {
            ("9", "Main panel"), ("11", "Main panel"), ("14", "Main panel"), ("20", "Main panel"),
            ("main", "panel"),
        }  # fmt: skip
        assert Panel.objects.count() == 2
        assert set(Appliance.objects.values_list("name", "circuit__name", "room__name")) == {
            ("clock radio", "9", "Main bedroom"), ("reading lamp", "9", "Main bedroom")
        }  # fmt: skip
    assert home.get(name="11").phase == "L2"
    trial = Reading.objects.get(state="trial", circuits_off="9; 11")
    assert set(trial.off_circuits.values_list("name", flat=True)) == {"9", "11"}
    assert home.get(name="9").history.count() == 1
