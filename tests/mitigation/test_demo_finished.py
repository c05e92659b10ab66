"""The finished homes of the demo: each goes all the way, and one promise is not kept."""

import pytest
from django.utils import timezone

from consult.models import User
from mitigation.management import demo_practice
from mitigation.management.demo_finished import finish_home, read_finished
from mitigation.models import Case, KeptPromise, PlanItem, Stage
from mitigation.planning.achievements import evidence_json
from mitigation.services.evidence import keep_stale, stale_cases

pytestmark = pytest.mark.django_db


def test_twelve_homes_make_evidence_and_one_breaks_its_promise() -> None:
    demo_practice.settle(demo_practice.read_practice())
    office = User.objects.get(is_manager=True)
    homes = read_finished()
    letters = [letter for home in homes for letter in finish_home(home, office)]
    assert len(homes) == 12 and len(letters) == 24
    assert set(Case.objects.values_list("stage", flat=True)) == {Stage.CLOSED}
    assert not PlanItem.objects.exclude(state="done", done_on__isnull=False).exists()
    keep_stale(now=timezone.now())
    assert stale_cases() == []
    summary = evidence_json()
    assert {row["remedy"]: row["homes"] for row in summary["remedies"]} == {
        "bonded-shield": 5, "demand-switch": 6, "bonded-shield + demand-switch": 1,
    }  # fmt: skip
    assert summary["promises"]["rows"] == 12
    assert summary["promises"]["inside"] == pytest.approx(11 / 12)
    assert KeptPromise.objects.broken().get().case.reference == "FW-2026-009"
    assert [finish_home(home, office) for home in homes] == [[]] * 12  # a second run adds nothing
