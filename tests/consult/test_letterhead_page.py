"""The letterhead on the practice's page, and what of it reaches letters and mails."""

import base64
import hashlib
import io
import random

import pytest
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from consult import tasks
from consult.intake import pictures
from consult.letters import rendering
from consult.models import Job, Practice
from consult.services.mail import queue_mail
from consult.services.people import save_practice
from mitigation.management import demo_practice
from tests.factories import UserFactory, compared_case, issue_survey_report
from tests.forms import opened

pytestmark = pytest.mark.django_db

HEAD = {
    "name": "Quiet Rooms",
    "address": "1 Invented Lane",
    "country": "GB",
    "email": "office@quiet.example",
    "website": "quiet.example",
}


def drawn(form: str = "PNG", size: tuple[int, int] = (400, 150), **more) -> bytes:
    image = Image.new("RGB", size, "white")
    image.paste((20, 20, 20), (10, 10, size[0] // 2, size[1] - 10))
    buffer = io.BytesIO()
    image.save(buffer, form, **more)
    return buffer.getvalue()


@pytest.fixture
def manager(client):
    user = UserFactory(is_manager=True)
    client.force_login(user)
    return user


def keep(client, data: bytes | None = None, name: str = "logo.png", **fields):
    files = {} if data is None else {"logo": SimpleUploadedFile(name, data)}
    said = opened(client, reverse("practice")) | HEAD
    return client.post(reverse("practice"), said | fields | files)


def test_a_logo_is_shown_kept_and_removed(manager, client):
    assert keep(client, drawn()).status_code == 302
    practice = Practice.objects.get()
    png = bytes(practice.logo)
    assert practice.logo_sha256 == hashlib.sha256(png).hexdigest()
    page = client.get(reverse("practice")).content.decode()
    assert base64.b64encode(png).decode() in page
    keep(client, signatory="A. Kern")  # another change leaves it
    assert bytes(Practice.objects.get().logo) == png
    keep(client, remove_logo="on")
    assert not Practice.objects.get().logo
    assert "data:image" not in client.get(reverse("practice")).content.decode()
    digests = [row.logo_sha256 for row in Practice.history.order_by("history_id")]
    assert digests[-3:] == [practice.logo_sha256, practice.logo_sha256, ""]


def test_only_the_pixels_of_a_logo_are_kept(manager, client):
    exif = Image.Exif()
    exif[0x010E] = "made at Neustrand 3"
    given = drawn("JPEG", exif=exif, comment=b"secret words") + b"<script>1</script>"
    assert b"Neustrand" in given
    assert keep(client, given, "logo.jpg").status_code == 302
    png = bytes(Practice.objects.get().logo)
    assert png.startswith(b"\x89PNG")
    for trace in (b"Neustrand", b"secret", b"script"):
        assert trace not in png


def test_whatever_is_drawn_the_logo_stays_small():
    dice = random.Random(7)
    noise = Image.frombytes("RGB", (600, 180), dice.randbytes(600 * 180 * 3))
    buffer = io.BytesIO()
    noise.save(buffer, "PNG")
    logo = pictures.cleaned_logo(buffer.getvalue())
    assert len(logo.data) <= pictures.KEPT_LOGO_BYTES
    assert logo.width / logo.height == pytest.approx(600 / 180, rel=0.03)


def test_a_logo_of_few_colours_comes_through_unchanged_and_small():
    given = Image.open(io.BytesIO(demo_practice.LOGO.read_bytes())).convert("RGB")
    logo = pictures.cleaned_logo(demo_practice.LOGO.read_bytes())
    assert Image.open(io.BytesIO(logo.data)).convert("RGB").tobytes() == given.tobytes()
    assert len(logo.data) < 8_000


def test_the_demo_practice_has_its_logo_and_keeps_another():
    demo = demo_practice.read_practice()
    demo_practice.settle(demo)
    own = Practice.objects.get()
    assert own.logo_sha256 == hashlib.sha256(bytes(own.logo)).hexdigest()
    save_practice(practice=own, remove_logo=True)
    demo_practice.settle(demo)
    assert not Practice.objects.get().logo


def test_a_see_through_logo_lies_on_white_paper():
    image = Image.new("RGBA", (200, 100), (0, 0, 0, 0))
    image.paste((0, 0, 0, 255), (0, 0, 20, 20))
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    logo = Image.open(io.BytesIO(pictures.cleaned_logo(buffer.getvalue()).data)).convert("RGB")
    assert (logo.getpixel((5, 5)), logo.getpixel((150, 50))) == ((0, 0, 0), (255, 255, 255))


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "PNG or JPEG"),
        (b"GIF89a" + bytes(40), "PNG or JPEG"),
        (b"\x89PNG\r\n\x1a\n" + bytes(2_000_000), "at most 2 MB"),
        (drawn(size=(3_100, 3_000)), "9 megapixels"),
        (drawn(size=(60, 60)), "at least 80 pixels"),
        (drawn()[:-60], "damaged"),
    ],
    ids=["svg", "gif", "bytes", "pixels", "small", "cut"],
)
def test_a_logo_that_will_not_do_says_why(manager, client, data, word):
    answer = keep(client, data)
    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert not Practice.objects.filter(logo__isnull=False).exists()


def test_an_address_that_no_letterhead_holds_is_refused(manager, client):
    for address in ("\n".join("123456"), "a" * 181):
        answer = keep(client, address=address)
        assert answer.status_code == 422
        assert "The head of a letter has room for 5 lines" in answer.content.decode()


def test_an_issued_letter_keeps_the_logo_of_its_day(manager, client):
    keep(client, drawn())
    png = base64.b64encode(bytes(Practice.objects.get().logo)).decode()
    case, now = compared_case(), timezone.now()
    letter = issue_survey_report(case=case, by=None, now=now)
    assert letter.content["logo"]["data"].endswith(png)
    first = rendering.render_letter(letter.content)
    assert issue_survey_report(case=case, by=None, now=now) == letter  # the very same words
    keep(client, drawn(size=(300, 150)))
    letter.refresh_from_db()
    assert rendering.render_letter(letter.content) == first
    other = issue_survey_report(case=case, by=None, now=now)
    assert other != letter
    assert rendering.render_letter(other.content) != first
    said = letter.content["sender"]
    assert said["contact"] == ["office@quiet.example", "quiet.example"]


def send(key: str) -> mail.EmailMessage:
    queue_mail(key=key, to="ida@example.org", subject="Good day", body="Words")
    assert tasks.run_job(Job.objects.get(key=f"send-mail:{key}").pk)
    return mail.outbox[-1]


def test_a_mail_comes_in_the_practices_name_and_is_answered_there(manager, client, settings):
    settings.DEFAULT_FROM_EMAIL = "Our server <post@server.example>"
    keep(client, name='Käthe & Co "Quiet", Ltd')
    sent = send("one")
    assert sent.reply_to == ["office@quiet.example"]
    from_line = sent.message()["From"]
    assert "post@server.example" in from_line and "Our server" not in from_line
    assert sent.from_email.endswith("<post@server.example>")


def test_a_mail_keeps_the_sender_of_its_day(manager, client):
    keep(client)
    queue_mail(key="two", to="ida@example.org", subject="Good day", body="Words")
    keep(client, name="Another name", email="other@quiet.example")
    tasks.run_job(Job.objects.get(key="send-mail:two").pk)
    assert mail.outbox[-1].from_email.startswith("Quiet Rooms <")
    assert mail.outbox[-1].reply_to == ["office@quiet.example"]


def test_a_name_of_two_lines_adds_no_line_to_the_head_of_a_mail(manager):
    Practice.objects.update_or_create(pk=1, defaults={"name": "Quiet\nBcc: all@example.org"})
    sent = send("three")
    assert sent.message()["Bcc"] is None
    assert sent.to == ["ida@example.org"] and sent.recipients() == ["ida@example.org"]


def test_without_a_practices_e_mail_nobody_is_named_for_answers(manager):
    Practice.objects.update_or_create(pk=1, defaults={"name": "", "email": ""})
    sent = send("four")
    assert sent.reply_to == [] and "Reply-To" not in sent.message()
