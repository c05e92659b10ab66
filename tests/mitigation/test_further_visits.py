"""A file that brings further visits into a case: what is new is added, what contradicts refused."""

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from consult.models import Job
from consult.tasks import run_job
from mitigation.comparison import compare
from mitigation.models import Case, PendingUpload
from mitigation.services import further_visits
from mitigation.services.exports import export_case_folder
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused, Upload
from surveys.models import GroundCheck, GroundPoint, Reading, Room, SourceFile, Spot, Visit
from tests.factories import UserFactory, assign
from tests.surveys.case_folders import (
    CASE_TOML,
    READINGS,
    TABLES,
    VISITS,
    as_files,
    as_folder,
    as_zip,
)

pytestmark = pytest.mark.django_db

AGAIN = ["again", "follow-up", "2026-11-20", "", "", "", "", ""]
ROW = list(READINGS[-2])  # of the visit "after", at the bed head
ROW_AGAIN = ["again", *ROW[1:8], "0.9", *ROW[9:]]


def tables(*, visits=(), readings=(), **others):
    changed = {"visits.csv": [*VISITS, *visits], "readings.csv": [*READINGS, *readings]}
    return {**TABLES, **changed, **others}


def bring_in() -> Case:
    return import_case_folder(source=as_zip(), by=None, now=timezone.now()).case


def add(case, upload):
    return add_further_visits(source=upload, into=case, by=None, now=timezone.now())


def longer(**changes):
    return as_zip(as_files(tables(visits=[AGAIN], readings=[ROW_AGAIN], **changes)))


def counts():
    rows = (Visit, Reading, Room, Spot, GroundPoint, GroundCheck, SourceFile)
    return [model.objects.count() for model in rows]


def kept_folders():
    return sorted(default_storage.listdir("imports")[1])


def lines_of(case, upload):
    before = counts()
    with pytest.raises(CaseFolderRefused) as refused:
        add(case, upload)
    assert counts() == before
    return list(refused.value.lines())


def test_a_longer_file_adds_its_new_visit_alone() -> None:
    case = bring_in()
    before = counts()
    result = add(case, longer())
    assert result.case == case and result.created
    n_new = [1, 1, 0, 0, 0, 0, 1]  # a visit, its reading, and the file
    assert counts() == [old + new for old, new in zip(before, n_new, strict=True)]
    visit = case.visits.get(label="again")
    assert visit.sealed_at is not None and visit.source.sha256 != case.source.sha256
    reading = visit.readings.get()
    assert reading.spot == case.visits.get(label="after").readings.order_by("position").first().spot
    assert Job.objects.filter(kind="visit-sealed", arguments={"visit": visit.pk}).exists()
    bed = next(row for row in compare(case).as_json()["spots"] if row["spot"] == "bed head")
    assert bed["after_on"] == "2026-11-20"
    others = case.visits.exclude(pk=visit.pk).values_list("position", flat=True)
    assert visit.position > max(others)


def test_the_new_visit_alone_is_enough() -> None:
    case = bring_in()
    short = {**TABLES, "visits.csv": [VISITS[0], AGAIN], "readings.csv": [READINGS[0], ROW_AGAIN],
             "ground_checks.csv": [TABLES["ground_checks.csv"][0]]}  # fmt: skip
    assert add(case, as_zip(as_files(short))).created
    assert case.visits.count() == 3 and Spot.objects.count() == 2


def test_the_same_bytes_again_do_nothing() -> None:
    case = bring_in()
    assert not add(case, as_zip()).created
    add(case, longer())
    before = counts()
    assert not add(case, longer()).created
    assert counts() == before


def test_a_file_without_anything_new_does_nothing() -> None:
    case = bring_in()
    other_bytes = as_zip(as_files(tables(), delimiter=";"))
    before, kept = counts(), kept_folders()
    assert not add(case, other_bytes).created
    assert counts() == before and kept_folders() == kept


def test_visits_that_cannot_join_the_case_leave_neither_rows_nor_the_file(monkeypatch) -> None:
    case = bring_in()
    before, kept = counts(), kept_folders()

    def fail(**_arguments: object) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr(further_visits, "index_cases", fail)
    with pytest.raises(OSError, match="no space"):
        add(case, longer())
    assert counts() == before and kept_folders() == kept


def test_an_export_can_come_back_with_a_visit_more() -> None:
    """What a case gives out fits what it has."""
    case = bring_in()
    assert not add(case, Upload("x.zip", export_case_folder(case=case))).created


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"visit": ("date", "2026-01-01")}, "visits.csv row 2, column date"),
        ({"visit": ("assessor", "Somebody Else")}, "visits.csv row 2, column assessor"),
        ({"reading": ("x", "31.5")}, "readings.csv row 2, column visit"),
        ({"case": ('name = "Käthe Möwe"', 'name = "Another"')}, "client.name"),
        ({"case": ('reference = "EB-TEST-1"', 'reference = "EB-OTHER"')}, "column reference"),
    ],
)
def test_what_contradicts_is_named_and_nothing_is_added(change, words) -> None:
    case = bring_in()
    changed = {name: [list(row) for row in rows] for name, rows in tables(
        visits=[AGAIN], readings=[ROW_AGAIN]
    ).items()}  # fmt: skip
    for kind, name in (("visit", "visits.csv"), ("reading", "readings.csv")):
        if kind in change:
            column, cell = change[kind]
            changed[name][1][changed[name][0].index(column)] = cell
    toml = CASE_TOML.replace(*change["case"]) if "case" in change else CASE_TOML
    lines = lines_of(case, as_zip(as_files(changed, case=toml)))
    assert len(lines) == 1 and words in lines[0], lines


def test_a_sealed_visit_gets_no_further_rows() -> None:
    case = bring_in()
    more = ["before", *ROW[1:8], "7", *ROW[9:]]
    upload = as_zip(as_files(tables(visits=[AGAIN], readings=[ROW_AGAIN, more])))
    (line,) = lines_of(case, upload)
    assert "readings.csv row 11" in line and "further ones need a visit of their own" in line


def test_a_renamed_room_is_known_by_its_key() -> None:
    case = bring_in()
    room = Room.objects.get(name="Bedroom")
    room.name = "Nursery"
    room.save()
    add(case, longer())
    assert Room.objects.count() == 2
    assert case.visits.get(label="again").readings.get().spot.room == room


def test_files_of_another_home_are_refused() -> None:
    case = bring_in()
    other = CASE_TOML.replace('reference = "EB-TEST-1"', 'reference = "EB-TEST-2"')
    theirs = as_zip(as_files(case=other))
    import_case_folder(source=theirs, by=None, now=timezone.now())
    assert "these made one already" in lines_of(case, theirs)[0]


def test_the_command_adds_them_and_names_an_unknown_case(tmp_path, capsys) -> None:
    case = bring_in()
    files = as_files(tables(visits=[AGAIN], readings=[ROW_AGAIN]))
    folder = as_folder(tmp_path / "longer", files)
    with pytest.raises(SystemExit):
        call_command("import_case", folder)  # other content under a known reference
    call_command("import_case", folder, "--into", case.reference)
    assert capsys.readouterr().out == f"{case.reference}\n"
    assert case.visits.count() == 3
    with pytest.raises(CommandError, match="There is no case 'X'"):
        call_command("import_case", folder, "--into", "X")


# -- On the page ----------------------------------------------------------------------------------


def upload(client, folder, into):
    file = SimpleUploadedFile("longer.zip", folder.data)
    return client.post(reverse("upload"), {"folder": file, "into": into}, follow=True)


def run_jobs(kind):
    for job in Job.objects.filter(kind=kind):
        run_job(job.pk)


def test_the_page_of_a_case_leads_to_its_further_visits(client) -> None:
    case = bring_in()
    client.force_login(UserFactory(role="office"))
    page = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    link = f"{reverse('upload')}?into={case.reference}"
    assert link in page
    assert f'value="{case.reference}"' in client.get(link).content.decode()
    upload(client, longer(), case.reference)
    run_jobs("check-upload")
    pending = PendingUpload.objects.get()
    preview = reverse("upload_preview", args=[pending.token])
    page = client.get(preview).content.decode()
    assert f"bring further visits into case {case.reference}" in page
    assert "<dd>again</dd>" in page and "<dd>before, after</dd>" in page
    client.post(reverse("upload_act", args=[pending.token, "confirm"]))
    run_jobs("import-upload")
    pending.refresh_from_db()
    assert (pending.state, pending.case) == ("done", case)
    assert case.visits.count() == 3 and Case.objects.count() == 1


def test_what_contradicts_is_seen_before_anything_is_confirmed(client) -> None:
    case = bring_in()
    client.force_login(UserFactory(role="office"))
    changed = [list(row) for row in VISITS]
    changed[1][3] = "Somebody Else"
    upload(client, as_zip(as_files({**TABLES, "visits.csv": changed})), case.reference)
    run_jobs("check-upload")
    pending = PendingUpload.objects.get()
    assert pending.state == "refused"
    page = client.get(reverse("upload_preview", args=[pending.token])).content.decode()
    assert "column assessor" in page and "Jo Feld, as visit before of the case has it" in page


def test_nobody_adds_visits_to_a_case_that_they_do_not_see(client) -> None:
    case = bring_in()
    client.force_login(UserFactory(role="assessor"))
    answer = upload(client, longer(), case.reference)
    assert answer.status_code == 422
    assert "There is no case of this reference here." in answer.content.decode()
    assert not PendingUpload.objects.exists()


def test_an_assessor_brings_no_certificate_in_by_this_way(client) -> None:
    case = bring_in()
    assessor = UserFactory(role="assessor")
    assign(assessor, case.property)
    client.force_login(assessor)
    other = [list(row) for row in TABLES["instruments.csv"]]
    header = other[0]
    other[1][header.index("certificate")] = "C-99"
    upload(client, longer(**{"instruments.csv": other}), case.reference)
    run_jobs("check-upload")
    pending = PendingUpload.objects.get()
    assert pending.state == "office"
    client.post(reverse("upload_act", args=[pending.token, "confirm"]))
    run_jobs("import-upload")
    assert case.visits.count() == 2
