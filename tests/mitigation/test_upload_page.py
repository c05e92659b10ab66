"""A case folder through the browser: preview, confirm, cancel; hostile files are refused."""

import datetime as dt
import io
import zipfile

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from consult import tasks
from consult.models import Client, Job, User
from mitigation import tasks as doors  # it registers the job
from mitigation.models import Case, PendingUpload
from surveys.intake import Upload, check_case_folder
from surveys.models import SourceFile
from tests.factories import CaseFactory, UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_workbook, as_zip, changed
from tests.surveys.test_intake_hostile import workbook_with, zip_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def send(client, data: bytes, name: str = "case.zip"):
    return client.post(reverse("upload"), {"folder": SimpleUploadedFile(name, data)})


def nothing_is_stored() -> bool:
    rows = (Case, Client, SourceFile, PendingUpload)
    folders = [default_storage.path(name) for name in ("uploads", "imports")]
    files = [name for name in folders if default_storage.exists(name)]
    return not any(row.objects.exists() for row in rows) and not files


def confirm(client, token):
    return client.post(reverse("upload_act", args=[token, "confirm"]))


def test_preview_then_confirm(client, office):
    answer = send(client, as_zip().data)
    token = PendingUpload.objects.get().token
    assert answer.url == reverse("upload_preview", args=[token])
    page = client.get(answer.url).content.decode()
    assert "Käthe Möwe" in page and "8 rows: 8 good, 0 wrong." in page
    assert not Case.objects.exists()
    assert confirm(client, token).url == reverse("case_detail", args=["EB-TEST-1"])
    assert SourceFile.objects.get().received_by == office


def test_a_second_click_makes_no_second_case(client, office):
    send(client, as_workbook().data, "case.xlsx")
    token = PendingUpload.objects.get().token
    assert confirm(client, token).url == confirm(client, token).url
    assert Case.objects.count() == 1


def test_cancel_forgets_the_file(client, office):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    assert default_storage.exists(str(pending.file))
    client.post(reverse("upload_act", args=[pending.token, "cancel"]))
    assert not default_storage.exists(str(pending.file))
    assert not PendingUpload.objects.exists() and not Case.objects.exists()


def test_plain_files_together(client, office):
    files = [SimpleUploadedFile(name, data) for name, data in as_files().items()]
    answer = client.post(reverse("upload"), {"folder": files})
    assert answer.status_code == 302
    assert "Käthe Möwe" in client.get(answer.url).content.decode()


def test_only_its_owner_sees_an_upload(client, office):
    url = send(client, as_zip().data).url
    token = PendingUpload.objects.get().token
    client.force_login(UserFactory())
    assert client.get(url).status_code == 404
    assert confirm(client, token).status_code == 404
    assert not Case.objects.exists()


def test_an_upload_expires(client, office):
    url = send(client, as_zip().data).url
    later = timezone.now() - dt.timedelta(days=2)
    PendingUpload.objects.update(expires_at=later)
    token, key = PendingUpload.objects.values_list("token", "file").get()
    assert client.get(url).status_code == 404
    assert confirm(client, token).url == reverse("upload")
    assert not Case.objects.exists()
    job = Job.objects.get(kind=doors.DROP_UPLOADS)
    assert job.run_after > timezone.now()
    Job.objects.update(run_after=later)
    assert tasks.run_job(job.pk)
    assert not default_storage.exists(key) and not PendingUpload.objects.exists()


def test_wrong_cells_are_named_beside_the_good_rows(client, office):
    rows = changed(READINGS, 3, x="forty")
    rows = changed(rows, 4, unit="furlong")
    answer = send(client, as_zip(as_files({**TABLES, "readings.csv": rows})).data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "8 rows: 6 good, 2 wrong." in page
    assert page.count('class="wrong"') == 2
    assert "readings.csv row 3, column x" in page
    assert nothing_is_stored()


def test_a_known_reference_is_named_before_the_import(client, office):
    CaseFactory(reference="EB-TEST-1")
    answer = send(client, as_zip().data)
    assert answer.status_code == 422
    assert "belongs to a case with other content" in answer.content.decode()


def test_the_same_bytes_again_lead_to_their_case(client, office):
    for _time in range(2):
        url = send(client, as_zip().data).url
        page = client.get(url).content.decode()
        confirm(client, PendingUpload.objects.order_by("pk").last().token)
    assert "imported before" in page
    assert Case.objects.count() == 1


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
LATIN = dict(as_files()) | {"visits.csv": as_files()["visits.csv"] + b"\xff\xfe\x80\n"}


def two_byte_words() -> bytes:
    files = as_files()
    return as_zip(files | {"readings.csv": files["readings.csv"].decode().encode("utf-16")}).data


@pytest.mark.parametrize(
    ("name", "data", "word"),
    [
        ("case.zip", b"MZ\x90\x00" + bytes(2_000), "neither a zip nor an XLSX"),
        ("case.xlsx", SVG, "neither a zip nor an XLSX"),
        ("case.svg", SVG, "neither a zip nor an XLSX"),
        ("bomb.zip", zip_with(("x.csv", b"0" * 30_000_000)), "packed beyond reason"),
        ("case.zip", zip_with(("../../x.csv", b"x")), "plain names"),
        ("case.zip", b"", "empty"),
        ("case.xlsx", workbook_with(formula="=2+3.25"), "a formula"),
        ("case.zip", as_zip(LATIN).data, "UTF-8"),
        ("case.zip", two_byte_words(), "UTF-8"),
        ("readings.csv", as_files()["readings.csv"], "the file case.toml"),
    ],
)
def test_hostile_and_broken_files(client, office, name, data, word):
    answer = send(client, data, name)
    assert answer.status_code == 422
    assert word in answer.content.decode().replace("&#x27;", "'")
    assert "alert(1)" not in answer.content.decode()
    assert nothing_is_stored()


def test_sixty_megabytes(client, office):
    answer = send(client, b"PK" + bytes(60_000_000))
    assert answer.status_code == 422
    assert "at most 20 MB" in answer.content.decode()
    assert nothing_is_stored()


def test_no_file_at_all(client, office):
    assert client.post(reverse("upload")).status_code == 422


def test_the_template_and_an_export_come_back_in(client, office):
    template = client.get(reverse("upload_template"))
    assert template["Content-Disposition"].startswith("attachment")
    assert zipfile.ZipFile(io.BytesIO(template.content)).testzip() is None
    send(client, as_zip().data)
    confirm(client, PendingUpload.objects.get().token)
    for form in ("zip", "xlsx"):
        exported = client.get(reverse("case_export", args=["EB-TEST-1", form]))
        assert check_case_folder(Upload("again", exported.content)).ok


def test_an_assessor_goes_on_with_what_they_bring(client):
    user = UserFactory(role=User.Role.ASSESSOR)
    client.force_login(user)
    send(client, as_zip().data)
    url = confirm(client, PendingUpload.objects.get().token).url
    assert client.get(url).status_code == 200
