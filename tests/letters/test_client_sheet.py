"""The client's part of every demo letter is one sheet, in both languages and on both papers."""

import io

import pypdf
import pytest
from django.utils import timezone

from consult.letters import rendering
from consult.models import Client, Property
from mitigation.models import Case
from mitigation.services.imports import import_case_folder
from surveys.models import Visit
from tests.factories import issue_outcome_letter, issue_survey_report
from tests.project.files import ROOT

pytestmark = pytest.mark.django_db
DEMO = ROOT / "fixtures" / "demo"
MEASURED = sorted(
    file.parent.name
    for file in DEMO.glob("*/readings.csv")
    if len(file.read_text().splitlines()) > 1  # an enquiry has its header alone
)
ENGINEER = ("The engineer's part", "Technischer Teil")


def test_the_demo_has_measured_cases() -> None:
    assert len(MEASURED) == 9


@pytest.mark.long
@pytest.mark.parametrize(("language", "country"), [("en", "US"), ("de", "DE")])
@pytest.mark.parametrize("name", MEASURED)
def test_the_engineers_part_begins_on_page_three(name, language, country) -> None:
    now = timezone.now()
    case = import_case_folder(source=DEMO / name, by=None, now=now).case
    Client.objects.filter(pk=case.property.client_id).update(language=language)
    Property.objects.filter(pk=case.property_id).update(country=country)
    case = Case.objects.for_list().get(pk=case.pk)
    is_proved = case.visits.filter(kind=Visit.Kind.FOLLOW_UP).exists()
    issue = issue_outcome_letter if is_proved else issue_survey_report
    letter = issue(case=case, by=None, now=now)
    pdf = rendering.render_letter(letter.content, check_code=letter.check_code)
    texts = [page.extract_text().strip() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    assert [text.startswith(ENGINEER) for text in texts[:3]] == [False, False, True]
    assert letter.check_code in texts[1]
