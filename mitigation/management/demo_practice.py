"""The demo practice of fixtures/demo: its people, their log-ins, its cases, an ordinary day."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from consult.intake.pictures import cleaned_logo
from consult.models import (
    Assignment,
    Client,
    Contact,
    Firm,
    Property,
    User,
    current_practice,
)
from consult.services.changes import version_of
from consult.services.clients import save_client, save_contact, save_property
from consult.services.people import save_practice
from mitigation.models import Case, Decision, Plan
from mitigation.services.cases import add_note, edit_case, hold_case, move_case, open_case
from mitigation.services.decisions import decide
from mitigation.services.offers import offer_plan
from mitigation.services.trial_fits import sample_now
from mitigation.services.visits import plan_case_visit
from surveys.models import Appliance, Circuit, Guideline, Room
from surveys.services.circuits import add_appliance, add_circuit, change_circuit

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "demo"
LOGO = Path(settings.BASE_DIR) / "fixtures" / "pictures" / "fieldwater-logo.png"
PASSWORD = "quiet-rooms-demo"


@dataclass(frozen=True)
class DemoCase:
    """A case folder with the people that belong to it."""

    folder: Path
    assessors: tuple[str, ...]
    client: str
    stage: str
    today: Mapping[str, Any]
    circuits: tuple[Mapping[str, Any], ...] = ()
    appliances: tuple[Mapping[str, Any], ...] = ()
    plan: Mapping[str, Any] | None = None
    order: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class DemoEnquiry:
    """A first call: a client and a home, and nothing measured yet."""

    client: Mapping[str, Any]
    home: Mapping[str, Any]
    contact: Mapping[str, Any]
    today: Mapping[str, Any]


@dataclass(frozen=True)
class DemoPractice:
    """What practice.toml says."""

    practice: Mapping[str, Any]
    firms: tuple[Mapping[str, Any], ...]
    people: tuple[Mapping[str, Any], ...]
    cases: tuple[DemoCase, ...]
    enquiries: tuple[DemoEnquiry, ...]

    def emails(self) -> set[str]:
        return {person["email"] for person in self.people}


def read_practice() -> DemoPractice:
    """Read practice.toml."""
    text = tomllib.loads((FOLDER / "practice.toml").read_text(encoding="utf-8"))
    return DemoPractice(
        practice=_stripped(text["practice"]),
        firms=tuple(_stripped(firm) for firm in text["firms"]),
        people=tuple(text["people"]),
        cases=tuple(
            DemoCase(
                FOLDER / case["folder"],
                tuple(case["assessors"]),
                case.get("client", ""),
                case.get("stage", ""),
                case.get("today", {}),
                tuple(case.get("circuits", ())),
                tuple(case.get("appliances", ())),
                case.get("plan"),
                case.get("order"),
            )
            for case in text["cases"]
        ),
        enquiries=tuple(
            DemoEnquiry(
                _stripped(enquiry["client"]),
                _stripped(enquiry["home"]),
                _stripped(enquiry["contact"]),
                enquiry["today"],
            )
            for enquiry in text["enquiries"]
        ),
    )


def _stripped(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: text.strip() if isinstance(text, str) else text for key, text in table.items()}


@transaction.atomic
def settle(demo: DemoPractice) -> None:
    """Put practice, firms and people there; what is there already stays as it is."""
    practice = current_practice()
    if not practice.address:  # nobody has entered one yet
        for field, text in demo.practice.items():
            setattr(practice, field, text)
        practice.second_factor_days = None  # whoever looks at the demo has no app set up
        save_practice(practice=practice, logo=cleaned_logo(LOGO.read_bytes()))
    for fields in demo.firms:
        if not Firm.objects.filter(name=fields["name"]).exists():
            firm = Firm(**fields)
            firm.full_clean()
            firm.save()
    for person in demo.people:
        if not User.objects.filter(email=person["email"]).exists():
            User.objects.create_user(
                person["email"],
                PASSWORD,
                name=person["name"],
                role=person["role"],
                language=person.get("language", "en"),
                is_manager=person.get("manager", False),
                firm=Firm.objects.get(name=person["firm"]) if "firm" in person else None,
            )


@transaction.atomic
def attach_people(case: Case, demo: DemoCase) -> None:
    """Assign the assessors of a demo case, and give its client the log-in of the demo."""
    home = case.property
    for email in demo.assessors:
        user = User.objects.get(email=email)
        if not Assignment.objects.filter(property=home, user=user).exists():
            assignment = Assignment(property=home, user=user)
            assignment.full_clean()
            assignment.save()
    client = home.client
    if demo.client and client.user is None:
        client.user = User.objects.get(email=demo.client)
        client.full_clean()
        client.save()


@transaction.atomic
def enter_sources(case: Case, demo: DemoCase, by: User) -> None:
    """Enter the panel of a demo case as its assessor does; what is there already stays as it is."""
    home = case.property
    for given in demo.circuits:
        known = Circuit.objects.at(home.pk).named(given["name"]).first()
        if known is None:
            add_circuit(home=home, by=by, **given)
        elif not known.history.exists():  # it came in with the readings that name it
            change_circuit(circuit=known, by=by, **given)
    for given in demo.appliances:
        if not Appliance.objects.at(home.pk).named(given["name"]).exists():
            words = {
                "circuit": Circuit.objects.at(home.pk).named(given["circuit"]).get(),
                "room": Room.objects.filter(property=home).named(given["room"]).get(),
            }
            add_appliance(home=home, by=by, **{**given, **words})


def offer_to_client(case: Case, demo: DemoCase, by: User, now: datetime) -> Plan | None:
    """Offer the plan of a demo case; None where it has none, or an offer is there already."""
    if demo.plan is None or case.plans.exists():
        return None
    sample_now(case)
    given = {name: demo.plan[name] for name in ("options", "words")}
    may_be_parted = demo.plan.get("may_be_parted", False)
    return offer_plan(case=case, by=by, now=now, may_be_parted=may_be_parted, send=False, **given)


def answer_for_client(plan: Plan, demo: DemoCase, now: datetime) -> None:
    """What the client of a demo case answered, where they did."""
    option = (demo.plan or {}).get("answer")
    if option:
        decide(
            plan=plan,
            answer=Decision.Answer.ACCEPTED,
            option=option,
            shown_sha256=plan.content_sha256,
            name=plan.case.property.client.name,
            way=Decision.Way.LINK,
            now=now,
        )


def take_on(case: Case, demo: DemoCase, by: User, now: datetime) -> None:
    """Take a case to where the demo has it, unless somebody has moved it since its import."""
    if case.stage_since != case.opened_at or case.notes.exists():
        return
    if demo.stage and case.stage != demo.stage:
        move_case(case=case, to=demo.stage, by=by, now=now)
    _steer(case, demo.today, by, now)


@transaction.atomic
def open_enquiry(demo: DemoEnquiry, by: User, now: datetime) -> Case | None:
    """Enter a first call as the office does; None when it is entered already."""
    if Client.objects.filter(name=demo.client["name"]).exists():
        return None
    client = save_client(client=Client(**demo.client), by=by)
    home = save_property(home=Property(client=client, **demo.home), by=by)
    save_contact(contact=Contact(client=client, **demo.contact), by=by)
    case = open_case(
        home=home,
        guideline=Guideline.objects.get(code=Guideline.USUAL),
        target_band=2,
        placement_percent=5.0,
        by=by,
        now=now,
    )
    _steer(case, demo.today, by, now)
    return case


@transaction.atomic
def _steer(case: Case, today: Mapping[str, Any], by: User, now: datetime) -> None:
    """What the office did with a case on the day of the demo; days count from today."""
    day = timezone.localdate(now)
    if "note" in today:
        add_note(case=case, text=today["note"], by=by, now=now)
    if "visit" in today:
        visit = today["visit"]
        plan_case_visit(
            case=case,
            kind=visit["kind"],
            day=day + timedelta(days=visit["in_days"]),
            assessor=User.objects.get(email=visit["assessor"]),
            by=by,
            now=now,
        )
    if "due_in_days" in today:
        due = day + timedelta(days=today["due_in_days"])
        edit_case(case=case, seen=version_of(case), by=by, values={"due_on": due})
    if "on_hold" in today:
        case.refresh_from_db()
        hold_case(case=case, reason=today["on_hold"], by=by, now=now)
