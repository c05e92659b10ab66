"""Rows for tests. A factory cannot make an impossible row: a follow-up comes after its baseline, in
the same home, and every reading is of an instrument with a certificate that covers its day."""

import datetime as dt
import json
from functools import cache
from typing import Any
from unittest.mock import patch

import factory
from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from consult import tasks
from consult.letters import rendering
from consult.models import Assignment, Client, Firm, Job, Letter, Property, User
from consult.services.guards import unguarded
from mitigation.models import Case, CaseVisit, LetterDraft, Plan, Remedy, Stage
from mitigation.services.drafts import ask_draft
from mitigation.services.letters import issue_case_letter
from mitigation.services.offers import offer_plan
from mitigation.services.plan_items import add_item
from surveys.models import (
    Calibration,
    Guideline,
    Instrument,
    Measurand,
    Quantity,
    Reading,
    Room,
    Spot,
    Visit,
)

PASSWORD = "paper-and-ink-17"
BASELINE_DAY = dt.date(2026, 3, 2)
FOLLOW_UP_DAY = dt.date(2026, 5, 18)


@cache
def _hashed() -> str:
    """Hashing is slow on purpose, so it is done once."""
    return make_password(PASSWORD)


class UserFactory(factory.django.DjangoModelFactory[User]):
    class Meta:
        model = User
        skip_postgeneration_save = True

    email = factory.Sequence(lambda n: f"person{n}@example.org")
    name = factory.Sequence(lambda n: f"Person {n}")
    role = User.Role.OFFICE

    @classmethod
    def _create(cls, model_class: type[User], *args: Any, **kwargs: Any) -> User:
        user = model_class(password=_hashed(), **kwargs)
        user.full_clean()
        user.save()
        return user


class FirmFactory(factory.django.DjangoModelFactory[Firm]):
    class Meta:
        model = Firm

    name = factory.Sequence(lambda n: f"Wiring firm {n}")


class ClientFactory(factory.django.DjangoModelFactory[Client]):
    class Meta:
        model = Client

    name = factory.Sequence(lambda n: f"Client {n}")
    address = "Mill Lane 3\n12345 Riverside"


class PropertyFactory(factory.django.DjangoModelFactory[Property]):
    class Meta:
        model = Property

    client = factory.SubFactory(ClientFactory)
    address = factory.Sequence(lambda n: f"Mill Lane {n}\n12345 Riverside")
    country = "DE"


class CaseFactory(factory.django.DjangoModelFactory[Case]):
    class Meta:
        model = Case

    reference = factory.Sequence(lambda n: f"EB-{n}")
    property = factory.SubFactory(PropertyFactory)
    guideline = factory.LazyFunction(lambda: Guideline.objects.get(code="SBM-2015"))
    stage = Stage.ENQUIRY
    opened_at = factory.LazyFunction(timezone.now)
    stage_since = factory.SelfAttribute("opened_at")


class CalibrationFactory(factory.django.DjangoModelFactory[Calibration]):
    class Meta:
        model = Calibration

    instrument = factory.LazyFunction(
        lambda: Instrument.objects.get_or_create(name="field meter A")[0]
    )
    quantity = Quantity.ELECTRIC_FIELD
    unit = "V/m"
    gain_percent = 6.0
    resolution = 0.1
    certificate = "K-100"
    calibrated_on = dt.date(2026, 1, 10)
    due_on = dt.date(2027, 1, 10)


class VisitFactory(factory.django.DjangoModelFactory[Visit]):
    class Meta:
        model = Visit

    property = factory.SubFactory(PropertyFactory)
    kind = Visit.Kind.BASELINE
    label = factory.LazyAttribute(lambda visit: visit.kind)
    date = factory.LazyAttribute(
        lambda visit: BASELINE_DAY if visit.kind == Visit.Kind.BASELINE else FOLLOW_UP_DAY
    )
    sealed_at = factory.LazyFunction(timezone.now)


class SpotFactory(factory.django.DjangoModelFactory[Spot]):
    class Meta:
        model = Spot

    class Params:
        home = factory.SubFactory(PropertyFactory)

    room = factory.LazyAttribute(
        lambda spot: Room.objects.get_or_create(property=spot.home, name="Bedroom")[0]
    )
    name = factory.Sequence(lambda n: f"spot {n}")
    use = Spot.Use.SLEEPING


def add_reading(visit: Visit, spot: Spot, calibration: Calibration, **fields: Any) -> Reading:
    """One reading at the next position of the visit; a total in V/m unless told otherwise."""
    defaults = {
        "measurand": Measurand.ELECTRIC_FIELD_GROUND,
        "unit": "V/m",
        "instrument": calibration.instrument,
        "position": visit.readings.count() + 2,
    }
    return Reading.objects.create(
        visit=visit, spot=spot, calibration=calibration, **(defaults | fields)
    )


def as_if_so_from_the_start(rows: QuerySet[Any], **fields: Any) -> None:
    """Give sealed or issued rows other facts, which the database refuses to everybody else."""
    with transaction.atomic(), unguarded():
        rows.update(**fields)


def compared_case(before: float = 48.0, after: float = 2.4, **case_fields: Any) -> Case:
    """A case with one spot that was read once at each of two visits."""
    case = CaseFactory(stage=Stage.PROOF, **case_fields)
    calibration = CalibrationFactory()
    spot = SpotFactory(home=case.property)
    for kind, total in ((Visit.Kind.BASELINE, before), (Visit.Kind.FOLLOW_UP, after)):
        visit = VisitFactory(property=case.property, kind=kind)
        CaseVisit.objects.create(case=case, visit=visit)
        add_reading(visit, spot, calibration, total=total)
    return case


def assign(user: User, home: Property) -> Assignment:
    return Assignment.objects.create(user=user, property=home)


def issue_outcome_letter(*, case: Case, by: User | None, now: dt.datetime) -> Letter:
    return issue_case_letter(kind="outcome", case=case, by=by, now=now)


def issue_survey_report(*, case: Case, by: User | None, now: dt.datetime) -> Letter:
    return issue_case_letter(kind="survey-report", case=case, by=by, now=now)


def _words_alone(content: dict[str, Any], *, check_code: str = "") -> bytes:
    words = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return b"%PDF-1.7\n" + words.encode() + b"\n%%EOF"


def ready_letter(case: Case) -> Letter:
    """The outcome letter of `case` with its file, made by the code that a worker runs.

    The file has the words of the letter in plain: how they become a PDF is tried elsewhere.
    """
    letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
    with patch.object(rendering, "render_letter", _words_alone):
        tasks.run_job(Job.objects.get(key__endswith=letter.number).pk)
    letter.refresh_from_db()
    assert letter.state == Letter.State.READY, letter.failure
    return letter


def ready_draft(case: Case) -> LetterDraft:
    """A draft of the outcome letter of `case` with its file, which has the words in plain."""
    office = User.objects.filter(role=User.Role.OFFICE).first() or UserFactory()
    draft = ask_draft(kind="outcome", case=case, by=office, now=timezone.now())
    with patch.object(rendering, "render_letter", _words_alone):
        tasks.run_job(Job.objects.get(key=f"make-draft:{draft.uid}").pk)
    draft.refresh_from_db()
    assert draft.state == LetterDraft.State.READY
    return draft


def offered_plan(case: Case) -> Plan:
    """A plan of `case` with one screen in the first room of its home, offered to its client."""
    office = User.objects.filter(role=User.Role.OFFICE).first() or UserFactory()
    if not case.items.exists():
        add_item(
            case=case,
            by=office,
            remedy=Remedy.objects.get(key="bonded-shield"),
            room=Room.objects.filter(property=case.property).first(),
            cost=500,
        )
    names = list(case.items.values_list("name", flat=True))
    return offer_plan(case=case, by=office, now=timezone.now(), options=[names], send=False)
