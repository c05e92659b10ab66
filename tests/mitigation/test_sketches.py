"""A picture of the case that letters print as a sketch of where was measured."""

import base64
import io
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from consult.intake.pictures import KEPT_SKETCH_BYTES, sketch_of
from consult.letters.html import letter_html
from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Attachment
from mitigation.services.attachments import attach_file, mark_sketch
from tests.cast import make_cast
from tests.factories import issue_outcome_letter, issue_survey_report

pytestmark = pytest.mark.django_db


def picture(side=1600, colour=0) -> bytes:
    image = Image.effect_noise((side, side), 80 + colour).convert("RGB")
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    return buffer.getvalue()


@pytest.fixture
def cast():
    return make_cast()


def attached(case, name="plan.png", colour=0) -> Attachment:
    content = ContentFile(picture(300, colour))
    row = attach_file(case=case, name=name, content=content, by=None, now=timezone.now())
    run_job(Job.objects.get(key=f"clean-picture:{row.pk}").pk)
    row.refresh_from_db()
    return row


def drawn(row: Attachment) -> None:
    mark_sketch(attachment=row, wanted=True)
    run_job(Job.objects.get(key=f"draw-sketch:{row.pk}").pk)


def sketches(letter) -> list[Any]:
    return [block for block in letter.content["engineer"] if block["type"] == "sketch"]


def test_both_letters_print_it_and_say_what_it_is(cast) -> None:
    drawn(attached(cast.case))
    for issue in (issue_survey_report, issue_outcome_letter):
        letter = issue(case=cast.case, by=None, now=timezone.now())
        (block,) = sketches(letter)
        jpeg = base64.b64decode(block["data"].partition(",")[2])
        assert Image.open(io.BytesIO(jpeg)).format == "JPEG"
        assert 'alt="Sketch of where was measured: plan.png"' in letter_html(letter.content)


def test_what_was_taken_out_again_is_printed_no_more(cast) -> None:
    row = attached(cast.case)
    drawn(row)
    mark_sketch(attachment=row, wanted=False)
    assert not sketches(issue_survey_report(case=cast.case, by=None, now=timezone.now()))
    mark_sketch(attachment=row, wanted=True)  # it is drawn already
    assert sketches(issue_survey_report(case=cast.case, by=None, now=timezone.now()))


def test_a_case_has_two_at_most(cast) -> None:
    rows = [attached(cast.case, f"{colour}.png", colour) for colour in (1, 2, 3)]
    for row in rows[:2]:
        drawn(row)
    with pytest.raises(ValidationError, match="at most 2 sketches"):
        mark_sketch(attachment=rows[2], wanted=True)


def test_only_a_picture_is_one(cast) -> None:
    text = attach_file(
        case=cast.case, name="a.txt", content=ContentFile(b"a"), by=None, now=timezone.now()
    )
    with pytest.raises(ValidationError, match="Only a picture"):
        mark_sketch(attachment=text, wanted=True)


def test_a_large_picture_is_made_small_enough_for_a_letter() -> None:
    sketch = sketch_of(picture())
    assert len(sketch.data) <= KEPT_SKETCH_BYTES and max(sketch.width, sketch.height) <= 1000


def test_it_is_marked_on_the_page_of_the_case(cast, client) -> None:
    row = attached(cast.case)
    cast.log_in(client, "its assessor")
    client.post(reverse("attachment_sketch", args=[row.pk]), {"wanted": "yes"})
    page = client.get(reverse("case_detail", args=[cast.case.reference])).content.decode()
    assert "letters print it as a sketch" in page and "Print it no more" in page
