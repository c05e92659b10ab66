"""The plan's page of a case: sources, items, what is foretold, the cheapest plan, versions."""

import pytest
from django.urls import reverse
from django.utils import timezone

from mitigation.planning.attributions import fit_of, nothing_kept
from mitigation.services.imports import import_case_folder
from mitigation.services.trial_fits import keep_fit, unsampled_trials
from tests.factories import UserFactory
from tests.mitigation.planned_homes import three_circuits, upload

pytestmark = pytest.mark.django_db


def bring_in(files):
    return import_case_folder(source=upload(files), by=None, now=timezone.now()).case


def sampled(case):
    """The case with what its trials say, as the job keeps it."""
    for unsampled in unsampled_trials(case):
        fit = fit_of(unsampled.trial, unsampled.sources, nothing_kept)
        keep_fit(trial=unsampled.trial, digest=unsampled.digest, fit=fit, now=timezone.now())
    return case


@pytest.fixture
def three():
    return sampled(bring_in(three_circuits()))


@pytest.fixture
def office(client):
    person = UserFactory(role="office")
    client.force_login(person)
    return client


def test_smoke(office, three):
    page = office.get(reverse("case_plan", args=[three.reference]))
    assert page.status_code == 200
    r = office.get(reverse("plan_choice", args=[three.reference]))
    assert r.status_code == 200
    r = office.get(reverse("plan_drafts", args=[three.reference]))
    assert r.status_code == 200
