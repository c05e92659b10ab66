"""Evidence and promises over 2,000 finished cases from kept rows, beside the wanted second.

`python -m tests.bench.evidence sqlite|postgresql [--quick]` prints its rows as JSON. The floor is
the same columns fetched and summed by plain numpy.
"""

import datetime as dt
from random import Random
from typing import Any

import numpy as np

from tests.bench.databases import print_measured
from tests.bench.timing import Row, at_most, best_of

MOST_S = 1.0
MOST_OVER_PLAIN = 15.0
CASES = 2_000
KINDS = ("demand-switch", "bonded-shield", "shielded-surface", "bonded-shield + demand-switch")
DAY = dt.datetime(2026, 3, 2, 9, tzinfo=dt.UTC)


def fill(n: int) -> None:
    """So many finished cases with works, a decided plan of two rows, and what is kept of them."""
    from consult.models import Client, Property
    from mitigation.models import Case, CaseVisit, PlanItem, Remedy
    from surveys.models import Guideline, Room, Spot, Visit

    clients = Client.objects.bulk_create(Client(name=f"Client {at}") for at in range(n))
    homes = Property.objects.bulk_create(
        Property(client=client, address=f"Lane {client.pk}", country="DE") for client in clients
    )
    guideline = Guideline.objects.get(code=Guideline.USUAL)
    cases = Case.objects.bulk_create(
        Case(
            reference=f"B-{home.pk}", property=home, guideline=guideline, stage="closed",
            stage_since=DAY, opened_at=DAY,
        )
        for home in homes
    )  # fmt: skip
    rooms = Room.objects.bulk_create(Room(property=home, name="Bedroom", folded="bedroom")
                                     for home in homes)  # fmt: skip
    spots = Spot.objects.bulk_create(
        Spot(room=room, name=name, folded=name) for room in rooms for name in ("head", "foot")
    )
    visits = Visit.objects.bulk_create(
        Visit(
            property=home, label=kind, kind=kind, date=DAY + dt.timedelta(days=30 * at),
            assessor="A", position=at, sealed_at=DAY,
        )
        for home in homes
        for at, kind in enumerate(("baseline", "follow-up"))
    )  # fmt: skip
    CaseVisit.objects.bulk_create(
        CaseVisit(case=cases[at // 2], visit=visit) for at, visit in enumerate(visits)
    )
    kinds = {row.key: row for row in Remedy.objects.all()}
    items = PlanItem.objects.bulk_create(
        PlanItem(
            case=case, name=f"R{at}", position=at, remedy=kinds[key], state="done",
            done_on=DAY.date(),
        )
        for number, case in enumerate(cases)
        for at, key in enumerate(KINDS[number % len(KINDS)].split(" + "), start=1)
    )  # fmt: skip
    of_case = {case.pk: at for at, case in enumerate(cases)}
    Through = PlanItem.spots.through
    Through.objects.bulk_create(
        Through(planitem=item, spot=spots[2 * of_case[item.case_id]]) for item in items
    )
    _keep(cases, spots)


def _keep(cases: list[Any], spots: list[Any]) -> None:
    """The decided plans, and the kept rows under the digests of their cases."""
    from mitigation.models import (
        Case,
        CaseEvidence,
        Decision,
        KeptEffect,
        KeptPromise,
        Plan,
        Prediction,
    )
    from mitigation.planning.evidence_basis import basis_digests

    plans = Plan.objects.bulk_create(
        Plan(case=case, number=1, content={"options": []}, content_sha256="0" * 64,
             valid_until=DAY.date(), offered_at=DAY)
        for case in cases
    )  # fmt: skip
    Decision.objects.bulk_create(
        Decision(plan=plan, answer="accepted", option="A", items=["R1"], content_sha256="0" * 64,
                 name="Client", way="office", decided_at=DAY)
        for plan in plans
    )  # fmt: skip
    predictions = Prediction.objects.bulk_create(
        Prediction(plan=plans[at // 2], option="A", spot=spot, measurand="body-voltage",
                   basis="spot", before=800.0, limit=100.0, median=60.0, low=20.0, high=180.0,
                   probability=0.8, overall=0.7)
        for at, spot in enumerate(spots)
    )  # fmt: skip
    dice = Random(7)
    KeptPromise.objects.bulk_create(
        KeptPromise(
            case=cases[at // 2], prediction=prediction, after=60.0, inside=dice.random() < 0.95,
            probability=dice.random(), met=dice.random() < 0.8, ln_ratio=dice.gauss(0, 0.4),
        )
        for at, prediction in enumerate(predictions)
    )  # fmt: skip
    KeptEffect.objects.bulk_create(
        KeptEffect(
            case=case, remedy=KINDS[at % len(KINDS)], group="electric", n_rows=2,
            effect=dice.gauss(-1.8, 0.5), variance=dice.uniform(0.003, 0.02),
            left_out={"at least": 1},
        )
        for at, case in enumerate(cases)
    )  # fmt: skip
    digests = basis_digests(Case.objects.all())
    CaseEvidence.objects.bulk_create(
        CaseEvidence(case=case, digest=digests[case.pk], made_at=DAY) for case in cases
    )


def plain() -> float:
    """The same columns fetched, a plain mean of each kind, and two means of promises."""
    from mitigation.models import KeptEffect, KeptPromise

    rows = KeptEffect.objects.order_by().values_list("remedy", "effect", "variance")
    kinds: dict[str, list[tuple[float, float]]] = {}
    for kind, effect, variance in rows:
        kinds.setdefault(kind, []).append((effect, variance))
    means = []
    for figures in kinds.values():
        effects, variances = np.array(figures).T
        means.append(float(np.average(effects, weights=1 / variances)))
    columns = KeptPromise.objects.order_by().values_list("inside", "probability", "met", "ln_ratio")
    return sum(means) + float(np.array(list(columns), dtype=np.float64).mean(axis=0)[0])


def measure(vendor: str, *, quick: bool) -> list[Row]:
    from django.test import Client as Browser
    from django.urls import reverse

    from consult.models import User
    from mitigation.planning.achievements import evidence_json
    from mitigation.services.evidence import stale_cases

    n = 40 if quick else CASES
    fill(n)
    summary = evidence_json()
    assert sum(kind["homes"] for kind in summary["remedies"]) == n
    assert summary["promises"]["rows"] == 2 * n and stale_cases() == []
    browser = Browser()
    browser.force_login(User.objects.create(email="bench@example.org", name="B", role="office"))

    def look() -> None:
        page = browser.get(reverse("evidence_list"), SERVER_NAME="localhost")
        assert page.status_code == 200

    repeats = 2 if quick else 7
    ours, floor, check, page = best_of(repeats, evidence_json, plain, stale_cases, look)
    size = f"{n} finished cases, {2 * n} promises"
    return [
        at_most(f"evidence: summary from kept rows ({vendor})", ours, MOST_S, size, unit="s"),
        at_most(
            f"evidence: summary against plain ({vendor})", ours / floor, MOST_OVER_PLAIN,
            f"the columns and plain numpy, {1_000 * floor:.0f} ms",
        ),
        at_most(f"evidence: whether rows are stale ({vendor})", check, MOST_S, size, unit="s"),
        at_most(f"evidence: its page ({vendor})", page, MOST_S, size, unit="s"),
    ]  # fmt: skip


if __name__ == "__main__":
    print_measured(measure, __doc__)
