"""A case folder through the browser: preview, confirm, cancel; hostile files are refused."""

import datetime as dt
import io
import json
import zipfile

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from consult import tasks
from consult.models import Client, Job, User
from consult.services.files import write_file
from mitigation.models import Case, PendingUpload
from mitigation.services import imports, previews
from mitigation.tasks import uploads  # the tasks register the jobs
from surveys.intake import Upload, check_case_folder
from surveys.models import SourceFile
from surveys.services.imports import store_survey
from tests.factories import CaseFactory, UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_workbook, as_zip, changed
from tests.surveys.test_intake_hostile import workbook_with, zip_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def hand_over(client, data: bytes, name: str = "case.zip"):
    return client.post(reverse("upload"), {"folder": SimpleUploadedFile(name, data)})


def send(client, data: bytes, name: str = "case.zip"):
    """Hand over a file and have a worker check it; the answer leads to its page."""
    answer = hand_over(client, data, name)
    assert answer.status_code == 302
    token = PendingUpload.objects.latest("received_at", "pk").token
    assert tasks.run_job(Job.objects.get(key=f"{uploads.CHECK_UPLOAD}:{token}").pk)
    return answer


def nothing_is_stored() -> bool:
    """No row but the refused upload's own, and no file."""
    rows = (Case.objects, Client.objects, SourceFile.objects,
            PendingUpload.objects.exclude(state="refused"))  # fmt: skip
    return not any(row.exists() for row in rows) and not stored_files()


def stored_files() -> list[str]:
    folders = [name for name in ("uploads", "imports") if default_storage.exists(name)]
    return [name for folder in folders for name in default_storage.listdir(folder)[1]]


def act(client, token, what):
    return client.post(reverse("upload_act", args=[token, what]))


def confirm(client, token):
    return act(client, token, "confirm")


def work(kind):
    """A worker does the one job of a kind."""
    assert tasks.run_job(Job.objects.get(kind=kind).pk)


def confirmed(client, token):
    """Confirm and let a worker import; the case page is where it ends."""
    answer = confirm(client, token)
    assert answer.url == reverse("upload_preview", args=[token])
    assert tasks.run_job(Job.objects.get(key=f"{uploads.IMPORT_UPLOAD}:{token}").pk)
    return way_on(client, answer.url)


def way_on(client, url):
    """Where the page goes when the work is over: it asks for the way once, by a part that loads."""
    part = progress(client, url)
    assert part.status_code == 200 and 'hx-trigger="load"' in part.content.decode()
    assert "every" not in part.content.decode()
    way = progress(client, url, go="")["HX-Redirect"]
    assert f'href="{way}"' in part.content.decode()  # the same without script
    return way


def test_preview_then_confirm(client, office):
    answer = send(client, as_zip().data)
    token = PendingUpload.objects.get().token
    assert answer.url == reverse("upload_preview", args=[token])
    page = client.get(answer.url).content.decode()
    assert "Käthe Möwe" in page and "8 rows: 8 good, 0 wrong." in page
    assert not Case.objects.exists()
    assert confirmed(client, token) == reverse("case_detail", args=["EB-TEST-1"])
    assert SourceFile.objects.get().received_by == office


def test_a_second_click_makes_no_second_case(client, office):
    send(client, as_workbook().data, "case.xlsx")
    token = PendingUpload.objects.get().token
    assert confirm(client, token).url == confirm(client, token).url
    work(uploads.IMPORT_UPLOAD)
    assert confirm(client, token).url == reverse("upload_preview", args=[token])
    assert Job.objects.filter(kind=uploads.IMPORT_UPLOAD).count() == 1
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
    work(uploads.CHECK_UPLOAD)
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
    job = Job.objects.get(kind=uploads.DROP_UPLOADS)
    assert job.run_after > timezone.now()
    Job.objects.update(run_after=later)
    assert tasks.run_job(job.pk)
    assert not default_storage.exists(key) and not PendingUpload.objects.exists()


def test_an_upload_that_a_worker_has_does_not_expire(client, office):
    send(client, as_zip().data)
    token = PendingUpload.objects.get().token
    confirm(client, token)
    PendingUpload.objects.update(expires_at=timezone.now() - dt.timedelta(days=2))
    assert uploads.drop_expired(now=timezone.now()) == 0
    work(uploads.IMPORT_UPLOAD)
    assert Case.objects.get().reference == "EB-TEST-1"
    assert uploads.drop_expired(now=timezone.now()) == 1


def test_wrong_cells_are_named_beside_the_good_rows(client, office):
    rows = changed(READINGS, 3, x="forty")
    rows = changed(rows, 4, unit="furlong")
    url = send(client, as_zip(as_files({**TABLES, "readings.csv": rows})).data).url
    page = client.get(url).content.decode()
    assert "8 rows: 6 good, 2 wrong." in page
    assert page.count('class="wrong"') == 2
    assert "readings.csv row 3, column x" in page
    assert not default_storage.exists(str(PendingUpload.objects.get().file))
    assert nothing_is_stored()


def test_a_known_reference_is_named_before_the_import(client, office):
    CaseFactory(reference="EB-TEST-1")
    page = client.get(send(client, as_zip().data).url).content.decode()
    assert "Not imported" in page and "belongs to a case with other content" in page


def test_the_same_bytes_again_lead_to_their_case(client, office):
    for _time in range(2):
        url = send(client, as_zip().data).url
        page = client.get(url).content.decode()
        last = confirmed(client, PendingUpload.objects.order_by("received_at").last().token)
    assert "imported before" in page
    assert last == reverse("case_detail", args=["EB-TEST-1"])
    assert Case.objects.count() == 1


def progress(client, url, seen="", **asked):
    return client.get(url, {"seen": seen} | asked, headers={"HX-Request": "true"})


def test_the_page_says_how_far_the_import_is(client, office, monkeypatch):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    url = confirm(client, pending.token).url
    page = client.get(url).content.decode()
    assert "It waits for its turn." in page and "htmx-2.min" in page
    assert f'href="{url}">Look again' in page  # the way without script
    part = progress(client, url, "checking")
    assert part.content.decode().strip().startswith('<div id="progress"')
    assert "HX-Request" in part["Vary"]
    assert progress(client, url, "waiting").status_code == 204

    seen = []

    def look(**arguments):
        pending.refresh_from_db()
        seen.append((pending.state, pending.step, pending.n_readings))
        return store_survey(**arguments)

    monkeypatch.setattr(imports, "store_survey", look)
    work(uploads.IMPORT_UPLOAD)
    assert seen == [("importing", "storing", 8)]
    pending.refresh_from_db()
    assert (pending.state, pending.case.reference, pending.preview) == ("done", "EB-TEST-1", {})
    assert not default_storage.exists(str(pending.file))
    page = client.get(url).content.decode()  # once more, after a reload
    assert reverse("case_detail", args=["EB-TEST-1"]) in page and "htmx-2.min" not in page
    assert way_on(client, url) == reverse("case_detail", args=["EB-TEST-1"])
    assert "imported (EB-TEST-1)" in client.get(reverse("upload")).content.decode()


def test_what_is_being_imported_cannot_be_cancelled(client, office):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    confirm(client, pending.token)
    answer = act(client, pending.token, "cancel")
    assert answer.url == reverse("upload_preview", args=[pending.token])
    assert "cannot be cancelled" in client.get(answer.url).content.decode()
    assert default_storage.exists(str(pending.file))
    work(uploads.IMPORT_UPLOAD)
    assert Case.objects.get().reference == "EB-TEST-1"


def test_what_was_cancelled_cannot_be_confirmed(client, office):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    act(client, pending.token, "cancel")
    assert confirm(client, pending.token).status_code == 404
    with pytest.raises(ValidationError, match="upload it again"):
        uploads.confirm_upload(pending=pending, now=timezone.now())
    assert not Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists()


def test_a_reference_that_became_known_meanwhile_is_refused_by_the_job(client, office):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    url = confirm(client, pending.token).url
    CaseFactory(reference="EB-TEST-1")
    clients = Client.objects.count()
    work(uploads.IMPORT_UPLOAD)
    assert way_on(client, url) == url
    page = client.get(url).content.decode()
    assert "1 thing is wrong. Nothing was stored." in page
    assert "belongs to a case with other content" in page
    assert (Client.objects.count(), SourceFile.objects.count()) == (clients, 0)
    assert not default_storage.exists(str(pending.file))


def test_a_job_that_is_given_up_says_why_and_can_be_tried_again(client, office, monkeypatch):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    url = confirm(client, pending.token).url
    with monkeypatch.context() as patch:
        patch.setattr(imports, "store_survey", _disk_is_full)
        for _attempt in range(5):
            Job.objects.filter(kind=uploads.IMPORT_UPLOAD).update(run_after=timezone.now())
            work(uploads.IMPORT_UPLOAD)
    page = client.get(url).content.decode()
    assert "OSError: the disk is full" in page and "Try again" in page
    assert not Case.objects.exists() and not SourceFile.objects.exists()
    assert act(client, pending.token, "retry").url == url
    work(uploads.IMPORT_UPLOAD)
    assert way_on(client, url) == reverse("case_detail", args=["EB-TEST-1"])
    assert not uploads.retry_upload(pending=pending, now=timezone.now())  # it did not fail


def _disk_is_full(**arguments):
    raise OSError("the disk is full")


def test_a_job_that_runs_twice_makes_one_case(client, office):
    send(client, as_zip().data)
    pending = PendingUpload.objects.get()
    confirm(client, pending.token)
    work(uploads.IMPORT_UPLOAD)
    # as it stands when a worker dies between the import and its word about it
    write_file(key=str(pending.file), data=as_zip().data, attempt=2)
    PendingUpload.objects.update(state="importing", case=None)
    Job.objects.filter(kind=uploads.IMPORT_UPLOAD).update(
        state="running", lease_until=timezone.now() - dt.timedelta(seconds=1)
    )
    work(uploads.IMPORT_UPLOAD)
    pending.refresh_from_db()
    assert (pending.state, pending.case) == ("done", Case.objects.get())
    assert not default_storage.exists(str(pending.file))


def test_a_file_is_checked_by_a_job(client, office):
    url = hand_over(client, as_workbook().data, "case.xlsx").url
    token = PendingUpload.objects.get().token
    page = client.get(url).content.decode()
    assert "Being checked" in page and "Käthe Möwe" not in page and "Cancel" not in page
    assert confirm(client, token).url == url
    assert "not been checked yet" in client.get(url).content.decode()
    assert not Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists()
    work(uploads.CHECK_UPLOAD)
    assert way_on(client, url) == url
    page = client.get(url).content.decode()
    assert "Käthe Möwe" in page and "8 rows: 8 good, 0 wrong." in page
    assert confirmed(client, token) == reverse("case_detail", args=["EB-TEST-1"])


def test_a_preview_shows_no_more_than_a_page_can_bear():
    header = [*READINGS[0], *[f"more {place}" for place in range(500)]]
    rows = [header, *[["x" * 300] * len(header)] * 300]
    said = previews.shown(check_case_folder(as_zip(as_files({**TABLES, "readings.csv": rows}))))
    assert len(json.dumps(said)) < 2_000_000
    assert max(len(row["cells"]) for table in said["tables"] for row in table["rows"]) == 40


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
        ("case.xlsx", workbook_with(formula="=2+3.25"), "a formula"),
        ("case.zip", as_zip(LATIN).data, "UTF-8"),
        ("case.zip", two_byte_words(), "UTF-8"),
        ("readings.csv", as_files()["readings.csv"], "the file case.toml"),
    ],
)
def test_hostile_and_broken_files(client, office, name, data, word):
    page = client.get(send(client, data, name).url).content.decode()
    assert "Nothing was stored." in page and word in page.replace("&#x27;", "'")
    assert "alert(1)" not in page
    assert nothing_is_stored()


@pytest.mark.parametrize(
    ("data", "word"), [(b"", "empty"), (b"PK" + bytes(20_000_001), "at most 20 MB")]
)
def test_what_is_told_before_a_worker_looks(client, office, data, word):
    answer = hand_over(client, data)
    assert answer.status_code == 422 and word in answer.content.decode()
    assert nothing_is_stored() and not PendingUpload.objects.exists()


def test_no_file_at_all(client, office):
    assert client.post(reverse("upload")).status_code == 422


def test_the_template_and_an_export_come_back_in(client, office):
    template = client.get(reverse("upload_template"))
    assert template["Content-Disposition"].startswith("attachment")
    assert zipfile.ZipFile(io.BytesIO(template.content)).testzip() is None
    send(client, as_zip().data)
    confirmed(client, PendingUpload.objects.get().token)
    for form in ("zip", "xlsx"):
        exported = client.get(reverse("case_export", args=["EB-TEST-1", form]))
        assert check_case_folder(Upload("again", exported.content)).ok


def test_an_assessor_goes_on_with_what_they_bring(client):
    user = UserFactory(role=User.Role.ASSESSOR)
    client.force_login(user)
    send(client, as_zip().data)
    url = confirmed(client, PendingUpload.objects.get().token)
    assert client.get(url).status_code == 200
