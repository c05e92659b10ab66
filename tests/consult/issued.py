"""Letters issued for tests, of invented people, through the service that issues every letter."""

from datetime import UTC, datetime
from typing import Any

from consult import services
from consult.letters.html import TEMPLATE_VERSION
from consult.models import Client, Letter, Property
from surveys.letters.survey_report import survey_content
from tests.letters import samples

NOW = datetime(2026, 5, 27, 9, 0, tzinfo=UTC)


def content(number: str) -> dict[str, Any]:
    """A survey report of three findings under the given number."""
    context = samples.survey_context(head=samples.head(number=number))
    return survey_content(context=context, language="en")


def home() -> Property:
    """A home with its client."""
    client = Client.objects.create(name="Ida Example", email="ida@example.org")
    return Property.objects.create(client=client, address="1 Invented Lane", country="GB")


def issue(place: Property, **more: Any) -> Letter:
    """One letter about `place`."""
    values: dict[str, Any] = {
        "kind": "survey-report",
        "build": content,
        "client": place.client,
        "property": place,
        "case_reference": "K-2026-017",
        "rules": ["resultant-1"],
        "language": "en",
        "paper": "A4",
        "template_version": TEMPLATE_VERSION,
        "by": None,
        "now": NOW,
    }
    return services.issue_letter(**(values | more))
