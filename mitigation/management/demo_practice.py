"""The demo practice of fixtures/demo: its people, their log-ins, its case folders."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from consult.models import Assignment, Firm, Practice, User
from mitigation.models import Case
from mitigation.services.cases import move_case

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "demo"
PASSWORD = "quiet-rooms-demo"


@dataclass(frozen=True)
class DemoCase:
    """A case folder with the people that belong to it."""

    folder: Path
    assessors: tuple[str, ...]
    client: str
    stage: str


@dataclass(frozen=True)
class DemoPractice:
    """What practice.toml says."""

    practice: Mapping[str, Any]
    firms: tuple[Mapping[str, Any], ...]
    people: tuple[Mapping[str, Any], ...]
    cases: tuple[DemoCase, ...]

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
            )
            for case in text["cases"]
        ),
    )


def _stripped(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: text.strip() if isinstance(text, str) else text for key, text in table.items()}


@transaction.atomic
def settle(demo: DemoPractice) -> None:
    """Put practice, firms and people there; what is there already stays as it is."""
    practice = Practice.objects.first() or Practice(pk=1)
    if not practice.address:  # nobody has entered one yet
        for field, text in demo.practice.items():
            setattr(practice, field, text)
        practice.full_clean()
        practice.save()
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


def take_on(case: Case, demo: DemoCase, by: User | None, now: datetime) -> None:
    """Take a case to where the demo has it, unless somebody has moved it since its import."""
    if demo.stage and case.stage != demo.stage and case.stage_since == case.opened_at:
        move_case(case=case, to=demo.stage, by=by, now=now)
