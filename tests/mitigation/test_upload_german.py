"""What is wrong in a case folder is said in the reader's language; the format's words stay."""

import datetime as dt
import io

import pytest
from django.utils.translation import override
from python_calamine import CalamineWorkbook

from consult import tasks
from consult.models import Job
from mitigation.models import PendingUpload
from mitigation.tasks import uploads  # the tasks register the jobs
from surveys.intake import Upload, check_case_folder
from surveys.intake.template import write_template
from tests.factories import UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_zip, changed

pytestmark = pytest.mark.django_db
WRONG = {**TABLES, "readings.csv": changed(READINGS, 3, x="forty", spot="")}
IN_GERMAN = [
    "readings.csv Zeile 3, Spalte spot: gefunden nichts, "
    "erlaubt: ein Name, höchstens 80 Zeichen; erforderlich",
    "readings.csv Zeile 3, Spalte x: gefunden 'forty', "
    "erlaubt: eine Zahl ab 0, etwa 4.2, <0.3 oder >2000",
]


def test_each_fault_is_said_in_the_active_language() -> None:
    with override("de"):
        assert check_case_folder(as_zip(as_files(WRONG))).lines() == IN_GERMAN
    with override("en"):
        assert check_case_folder(as_zip(as_files(WRONG))).lines() == [
            "readings.csv row 3, column spot: found nothing, "
            "allowed: a name, at most 80 characters; it is required",
            "readings.csv row 3, column x: found 'forty', "
            "allowed: a number of 0 or more, such as 4.2, <0.3 or >2000",
        ]


def test_what_is_no_case_folder_is_refused_in_german() -> None:
    with override("de"):
        (line,) = check_case_folder(Upload("fall.zip", b"%PDF")).lines()
    assert line == (
        "fall.zip: gefunden 'weder eine ZIP- noch eine XLSX-Datei', "
        "erlaubt: ein Ordner, eine ZIP- oder eine XLSX-Datei"
    )


def test_a_worker_speaks_the_language_of_the_owner() -> None:
    owner = UserFactory(language="de")
    uploads.keep_upload(upload=as_zip(as_files(WRONG)), by=owner, now=dt.datetime.now(dt.UTC))
    assert tasks.run_job(Job.objects.get(kind=uploads.CHECK_UPLOAD).pk)
    pending = PendingUpload.objects.get()
    assert pending.state == "refused" and pending.preview["faults"] == IN_GERMAN


def test_the_template_explains_itself_in_german_and_keeps_the_words_of_the_format() -> None:
    with override("de"):
        book = CalamineWorkbook.from_filelike(io.BytesIO(write_template()))
    rows = book.get_sheet_by_name("explanations").to_python()
    said = [cell for row in rows for cell in row if cell]
    assert "erforderlich" in said and "required" not in said
    assert "baseline, follow-up" in said and "ok, fault, not tested (leer = not tested)" in said
    assert "readings" in book.sheet_names
