"""An upload that brings certificates for known instruments waits until the office confirms them."""

import datetime as dt
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from consult import tasks
from consult.models import Client, Job, User
from consult.services.privacy import clearing
from consult.services.privacy.erasures import erase_person
from mitigation.models import Case, PendingUpload
from mitigation.services import upload_decisions
from mitigation.services.imports import import_case_folder
from mitigation.tasks import uploads  # the tasks register the jobs
from surveys.intake import CaseFolderRefused, Upload
from surveys.models import Calibration, Instrument, SourceFile
from surveys.services.brought_certificates import UnconfirmedCertificates
from tests.factories import ClientFactory, FirmFactory, UserFactory
from tests.surveys.case_folders import (
    CASE_ROWS,
    CASE_TOML,
    INSTRUMENTS,
    TABLES,
    Cells,
    as_files,
    as_folder,
    as_workbook,
    as_zip,
    changed,
)

pytestmark = pytest.mark.django_db
SECOND = CASE_TOML.replace("EB-TEST-1", "EB-TEST-2")
NEW_NUMBER = changed(INSTRUMENTS, 2, certificate="C-99", gain_percent="9")
OTHER_GAIN = changed(INSTRUMENTS, 4, gain_percent="7")  # Cube B, which has no number
SAME_NUMBER = changed(INSTRUMENTS, 2, gain_percent="7.5", noise="")
NEW_INSTRUMENT = changed(changed(INSTRUMENTS, 2, instrument="Probe F"), 3, instrument="Probe F")


@pytest.fixture
def register() -> None:
    """What the first case brought: three instruments with four rows."""
    import_case_folder(source=as_zip(), by=None, now=timezone.now())
    assert (Instrument.objects.count(), Calibration.objects.count()) == (3, 4)


@pytest.fixture
def assessor() -> User:
    return UserFactory(role=User.Role.ASSESSOR, name="Jo Feld")


@pytest.fixture
def office() -> User:
    return UserFactory(name="Ines Lund")


def folder(instruments: Cells = INSTRUMENTS, case: str = SECOND) -> Upload:
    tables = {**TABLES, "instruments.csv": instruments}
    if instruments is NEW_INSTRUMENT:
        readings = [[cell.replace("Probe E", "Probe F") for cell in row]
                    for row in TABLES["readings.csv"]]  # fmt: skip
        tables["readings.csv"] = readings
    return as_zip(as_files(tables, case))


def checked(upload: Upload, by: User) -> PendingUpload:
    pending = uploads.keep_upload(upload=upload, by=by, now=timezone.now())
    assert tasks.run_job(Job.objects.get(key=f"{uploads.CHECK_UPLOAD}:{pending.token}").pk)
    pending.refresh_from_db()
    return pending


def imported(pending: PendingUpload, again: str = "") -> PendingUpload:
    assert tasks.run_job(Job.objects.get(key=f"{uploads.IMPORT_UPLOAD}:{pending.token}{again}").pk)
    pending.refresh_from_db()
    return pending


def page_of(user: User, name: str, *args: Any) -> str:
    browser = Browser()
    browser.force_login(user)
    answer = browser.get(reverse(name, args=args))
    assert answer.status_code == 200
    return answer.content.decode()


def decide(user: User, pending: PendingUpload, decision: str, reason: str = "", seen: int = 0):
    browser = Browser()
    browser.force_login(user)
    url = reverse("upload_decide", args=[pending.token])
    body = {"decision": decision, "reason": reason, "seen": seen}
    return browser.post(url, body, follow=True)


def brought(pending: PendingUpload) -> list[tuple[str, str, str]]:
    return [
        (row["instrument"], row["content"]["certificate"], row["content"]["gain_percent"])
        for row in pending.certificates
    ]


# -- What waits, and for whom -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("instruments", "certificates"),
    [
        (INSTRUMENTS, []),
        (NEW_INSTRUMENT, []),
        (NEW_NUMBER, [("Probe E", "C-99", "9")]),
        (OTHER_GAIN, [("Cube B", "", "7")]),
        (changed(INSTRUMENTS, 5, certificate="C-6", due_on="2027-12-31"),
         [("Hand V", "C-6", "5")]),
    ],
)  # fmt: skip
def test_what_a_known_instrument_does_not_have_waits(
    register, assessor, instruments, certificates
) -> None:
    pending = checked(folder(instruments), assessor)
    assert brought(pending) == certificates
    assert pending.state == ("office" if certificates else "ready")


def test_an_instrument_without_any_certificate_is_known_too(assessor) -> None:
    Instrument.objects.create(name="Cube B")
    pending = checked(folder(), assessor)
    assert pending.state == "office" and brought(pending) == [("Cube B", "", "6.5")]


def test_a_first_folder_is_its_senders_to_bring(assessor) -> None:
    pending = checked(folder(), assessor)
    assert pending.state == "ready"
    assert uploads.confirm_upload(pending=pending, now=timezone.now())
    assert imported(pending).state == "done"
    assert (Instrument.objects.count(), Calibration.objects.count()) == (3, 4)


def test_its_owner_reads_what_waits_and_cannot_confirm(register, assessor) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    page = page_of(assessor, "upload_preview", pending.token)
    assert "Waiting for the office" in page and "1 certificate that the register does not" in page
    assert "Probe E, electric field" in page and "C-99" in page
    assert "It waits for 14 days" in page and "Import this case" not in page
    with pytest.raises(ValidationError, match="waits for the office"):
        uploads.confirm_upload(pending=pending, now=timezone.now())
    browser = Browser()
    browser.force_login(assessor)
    browser.post(reverse("upload_act", args=[pending.token, "confirm"]))
    pending.refresh_from_db()
    assert pending.state == "office" and Case.objects.count() == 1
    assert not Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists()


def test_files_that_made_their_case_bring_nothing_again(register, assessor) -> None:
    Calibration.objects.filter(certificate="C-5").update(certificate="C-5b")
    pending = checked(as_zip(), assessor)
    assert (pending.state, pending.certificates) == ("ready", [])


# -- Seen by the office -------------------------------------------------------------------------


def test_the_desk_counts_what_waits(register, assessor, office) -> None:
    assert "wait for the office" not in page_of(office, "desk")
    for number in (3, 4):
        reference = CASE_TOML.replace("EB-TEST-1", f"EB-TEST-{number}")
        checked(folder(NEW_NUMBER, reference), assessor)
    assert "2 uploads bring certificates to confirm" in page_of(office, "desk")
    assert "Waiting for the office" in page_of(office, "upload")
    assert "bring certificates to confirm" not in page_of(assessor, "desk")


def test_the_office_sees_both_side_by_side(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    page = page_of(office, "upload_decide", pending.token)
    assert "Jo Feld uploaded these files" in page and "Käthe Möwe" in page
    lines = {
        line.label: (line.registered, line.brought, line.differs)
        for (certificate,) in [uploads_page(office, pending)]
        for line in certificate.lines
    }
    assert lines["Gain [%]"] == (8.0, 9.0, True)
    assert lines["Certificate"] == ("C-17", "C-99", True)
    assert lines["Resolution"] == (0.1, 0.1, False)
    assert page.count("differs</small>") == 2


def uploads_page(user: User, pending: PendingUpload) -> Any:
    browser = Browser()
    browser.force_login(user)
    return browser.get(reverse("upload_decide", args=[pending.token])).context["certificates"]


def test_nothing_differs_where_the_register_has_nothing(assessor, office) -> None:
    Instrument.objects.create(name="Cube B")
    pending = checked(folder(), assessor)
    page = page_of(office, "upload_decide", pending.token)
    assert "nothing of this instrument in this quantity" in page and "differs" not in page


def test_the_page_costs_the_same_with_many_certificates(register, assessor, office) -> None:
    more = [
        [*INSTRUMENTS[1][:12], f"D-{day}", f"2026-02-{day:02}", "2027-02-01"]
        for day in range(1, 13)
    ]
    costs = []
    for number, rows in enumerate((NEW_NUMBER, [*NEW_NUMBER, *more])):
        reference = CASE_TOML.replace("EB-TEST-1", f"EB-TEST-{number + 5}")
        pending = checked(folder(rows, reference), assessor)
        assert len(pending.certificates) == (13 if number else 1)
        for name in ("upload_decide", "upload_preview"):
            page_of(office if name == "upload_decide" else assessor, name, pending.token)
            with CaptureQueriesContext(connection) as queries:
                page_of(office if name == "upload_decide" else assessor, name, pending.token)
            costs.append(len(queries))
    assert costs[:2] == costs[2:]


def test_the_office_sees_nothing_else_of_others(register, assessor, office) -> None:
    waiting = checked(folder(NEW_NUMBER), assessor)
    ready = checked(folder(), assessor)
    assert list(PendingUpload.objects.visible_to(office)) == [waiting]
    browser = Browser()
    browser.force_login(office)
    assert browser.get(reverse("upload_decide", args=[ready.token])).status_code == 404
    assert browser.get(reverse("upload_preview", args=[waiting.token])).status_code == 404
    for act in ("confirm", "cancel", "retry"):
        assert browser.post(reverse("upload_act", args=[waiting.token, act])).status_code == 404


@pytest.mark.parametrize(
    ("role", "status"), [("assessor", 403), ("electrician", 403), ("client", 403)]
)
def test_nobody_else_decides(register, assessor, role, status) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    firm = FirmFactory() if role == "electrician" else None
    user = assessor if role == "assessor" else UserFactory(role=role, firm=firm)
    answer = decide(user, pending, "confirmed")
    assert answer.status_code == status
    with pytest.raises(ValidationError, match="Only the office"):
        upload_decisions.decide_upload(
            pending=pending, by=user, decision="confirmed", reason="", now=timezone.now(), seen=0
        )
    pending.refresh_from_db()
    assert (pending.state, pending.decision) == ("office", "")


# -- The decision -------------------------------------------------------------------------------


def test_confirmed_it_is_imported_whole(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    answer = decide(office, pending, "confirmed", "Seen on paper.")
    assert answer.redirect_chain == [(reverse("desk"), 302)]
    pending.refresh_from_db()
    assert (pending.state, pending.decided_by, pending.decision) == (
        "importing", office, "confirmed",
    )  # fmt: skip
    imported(pending)
    assert (pending.state, pending.case and pending.case.reference) == ("done", "EB-TEST-2")
    assert SourceFile.objects.latest("pk").received_by == assessor
    added = Calibration.objects.latest("pk")
    assert (added.certificate, added.gain_percent, Calibration.objects.count()) == ("C-99", 9, 5)
    page = page_of(assessor, "upload_preview", pending.token)
    assert "Ines Lund confirmed this upload" in page and "Seen on paper." in page


def test_refused_nothing_is_stored_and_the_owner_reads_why(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    before = (Client.objects.count(), Calibration.objects.count())
    assert decide(office, pending, "refused").status_code == 422  # it needs a reason
    assert default_storage.exists(str(pending.file))
    decide(office, pending, "refused", "The certificate is not ours.")
    pending.refresh_from_db()
    assert (pending.state, pending.preview) == ("refused", {})
    assert not default_storage.exists(str(pending.file))
    assert (Client.objects.count(), Calibration.objects.count()) == before
    assert not Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists()
    page = page_of(assessor, "upload_preview", pending.token)
    assert "The office has refused these files" in page and "The certificate is not ours." in page
    assert "Ines Lund refused this upload" in page


@pytest.mark.parametrize(("first", "second"), [("confirmed", "refused"), ("refused", "confirmed")])
def test_of_two_decisions_the_first_holds(register, assessor, office, first, second) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    decide(office, pending, first, "first")
    late = decide(UserFactory(name="Nils Brandt"), pending, second, "second")
    assert f"Ines Lund {first} this upload" in late.content.decode()
    with pytest.raises(ValidationError, match=f"Ines Lund {first}"):
        upload_decisions.decide_upload(
            pending=pending, by=UserFactory(), decision=second, reason="second",
            now=timezone.now(), seen=0,
        )  # fmt: skip
    pending.refresh_from_db()
    assert (pending.decision, pending.decided_by, pending.decision_reason) == (
        first, office, "first",
    )  # fmt: skip


def test_a_double_click_decides_once(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    given = {"pending": pending, "by": office, "decision": "confirmed", "reason": "",
             "now": timezone.now(), "seen": 0}  # fmt: skip
    assert upload_decisions.decide_upload(**given)
    assert not upload_decisions.decide_upload(**given)
    assert decide(office, pending, "confirmed").status_code == 200
    assert Job.objects.filter(kind=uploads.IMPORT_UPLOAD).count() == 1


@pytest.mark.parametrize(("first", "second"), [("confirmed", "refused"), ("refused", "confirmed")])
def test_who_decides_the_other_way_after_all_is_told(
    register, assessor, office, first, second
) -> None:
    """No double click: they would believe that what they pressed last has been done."""
    pending = checked(folder(NEW_NUMBER), assessor)
    assert decide(office, pending, first, "first").status_code == 200
    late = decide(office, pending, second, "second")
    assert f"Ines Lund {first} this upload" in late.content.decode()
    with pytest.raises(ValidationError, match=f"Ines Lund {first}"):
        upload_decisions.decide_upload(
            pending=pending, by=office, decision=second, reason="second",
            now=timezone.now(), seen=0,
        )  # fmt: skip
    pending.refresh_from_db()
    assert (pending.decision, pending.decision_reason) == (first, "first")


def test_a_decision_on_what_was_cancelled_stores_nothing(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    uploads.cancel_upload(pending=pending)
    assert decide(office, pending, "confirmed").status_code == 404
    assert not default_storage.exists(str(pending.file))


# -- An office person's own, and the command ----------------------------------------------------


def test_the_office_confirms_its_own_and_sees_what_it_adds(register, office) -> None:
    pending = checked(folder(OTHER_GAIN), office)
    assert pending.state == "ready"
    page = page_of(office, "upload_preview", pending.token)
    assert "adds 1 certificate to the register" in page and "Cube B" in page
    assert page.count("differs</small>") == 1
    assert uploads.confirm_upload(pending=pending, now=timezone.now())
    assert imported(pending).state == "done"
    assert Calibration.objects.filter(instrument__name="Cube B").count() == 2


def test_the_command_counts_as_the_office(register, tmp_path) -> None:
    tables = {**TABLES, "instruments.csv": NEW_NUMBER}
    out = io.StringIO()
    path = as_folder(tmp_path / "case", as_files(tables, SECOND))
    call_command("import_case", str(path), stdout=out)
    assert out.getvalue().strip() == "EB-TEST-2"
    assert Calibration.objects.filter(certificate="C-99").exists()


def test_the_import_itself_adds_none_by_somebody_who_may_not(register, assessor) -> None:
    with pytest.raises(UnconfirmedCertificates) as refused:
        import_case_folder(source=folder(NEW_NUMBER), by=assessor, now=timezone.now())
    assert refused.value.lines() == [
        "instruments.csv row 2, column certificate: found 'C-99', allowed: what the register has "
        "of Probe E; the office has not confirmed this certificate"
    ]
    assert Case.objects.count() == 1 and Calibration.objects.count() == 4


# -- The same number with other content ---------------------------------------------------------

KNOWN = (
    "as the register has it: certificate C-17 of Probe E is known with quantity electric field, "
    "axes 1, unit V/m, gain_percent 8, resolution 0.1, noise 0.05, floor 0.3, ceiling 2000, "
    "low_hz 16, high_hz 2000, certificate C-17, calibrated_on 2026-01-10, due_on 2027-01-10; "
    "other content needs another number"
)
CONTRADICTIONS = [
    f"instruments.csv row 2, column gain_percent: found '7.5', allowed: 8, {KNOWN}",
    f"instruments.csv row 2, column noise: found nothing, allowed: 0.05, {KNOWN}",
]


@pytest.mark.parametrize("role", ["office", "assessor"])
def test_the_same_number_with_other_content_is_refused_in_the_check(register, role) -> None:
    user = UserFactory(role=role)
    pending = checked(folder(SAME_NUMBER), user)
    assert (pending.state, pending.preview["faults"]) == ("refused", CONTRADICTIONS)
    assert not default_storage.exists(str(pending.file))
    assert page_of(user, "upload_preview", pending.token).count('class="wrong"') == 2


def test_a_workbook_names_its_sheet(register, office) -> None:
    case = changed(CASE_ROWS, 2, value="EB-TEST-2")
    tables = {**TABLES, "instruments.csv": SAME_NUMBER}
    pending = checked(as_workbook(tables, case), office)
    assert [line.split(",")[0] for line in pending.preview["faults"]] == [
        "sheet instruments row 2"
    ] * 2


def test_a_number_and_a_reference_are_both_named(register, office) -> None:
    pending = checked(folder(SAME_NUMBER, CASE_TOML), office)
    assert pending.preview["n_faults"] == 3 and "belongs to a case" in pending.preview["faults"][0]


def test_the_command_refuses_it_too(register, tmp_path) -> None:
    tables = {**TABLES, "instruments.csv": SAME_NUMBER}
    errors = io.StringIO()
    path = as_folder(tmp_path / "case", as_files(tables, SECOND))
    with pytest.raises(SystemExit):
        call_command("import_case", str(path), stderr=errors)
    assert errors.getvalue().splitlines() == CONTRADICTIONS
    assert Case.objects.count() == 1 and Calibration.objects.count() == 4


def test_a_number_that_became_known_meanwhile_is_refused_by_the_job(
    register, assessor, office
) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    other = changed(NEW_NUMBER, 2, gain_percent="9.5")
    reference = CASE_TOML.replace("EB-TEST-1", "EB-TEST-3")
    import_case_folder(source=folder(other, reference), by=office, now=timezone.now())
    decide(office, pending, "confirmed")
    imported(pending)
    assert pending.state == "refused" and "found '9', allowed: 9.5" in pending.preview["faults"][0]
    assert not Case.objects.filter(reference="EB-TEST-2").exists()


def test_one_certificate_may_stand_in_two_quantities(register, assessor) -> None:
    rows = [*INSTRUMENTS, ["Probe E", "", "body voltage", "", "mV", "5", "1", *[""] * 5,
                           "C-17", "2026-01-10", ""]]  # fmt: skip
    pending = checked(folder(rows), assessor)
    assert (pending.state, brought(pending)) == ("office", [("Probe E", "C-17", "5")])


# -- The register changes between the check and the import --------------------------------------


def _office_knows_the_new_instrument() -> None:
    Calibration.objects.create(
        instrument=Instrument.objects.create(name="Probe F"), quantity="electric field",
        unit="V/m", gain_percent=4, resolution=0.1, certificate="C-1",
    )  # fmt: skip


def _office_has_it_already() -> None:
    import_case_folder(
        source=folder(NEW_NUMBER, CASE_TOML.replace("EB-TEST-1", "EB-TEST-3")),
        by=None,
        now=timezone.now(),
    )


def test_what_nobody_confirmed_goes_to_the_office(register, assessor, office) -> None:
    pending = checked(folder(NEW_INSTRUMENT), assessor)
    assert pending.state == "ready"
    uploads.confirm_upload(pending=pending, now=timezone.now())
    _office_knows_the_new_instrument()
    imported(pending)
    assert (pending.state, pending.confirmed_at, Case.objects.count()) == ("office", None, 1)
    assert brought(pending) == [("Probe F", "C-17", "8"), ("Probe F", "C-31", "7")]
    assert "has changed since" in page_of(assessor, "upload_preview", pending.token)
    assert Calibration.objects.filter(instrument__name="Probe F").count() == 1
    # the form of before says nothing of what stands there now
    stale = decide(office, pending, "confirmed", seen=0)
    assert stale.status_code == 422 and "has changed meanwhile" in stale.content.decode()
    decide(office, pending, "confirmed", seen=1)
    assert imported(pending, again=":1").state == "done"
    assert Calibration.objects.filter(instrument__name="Probe F").count() == 3


def test_what_the_office_confirmed_is_no_word_for_more(register, assessor, office) -> None:
    rows = [*NEW_NUMBER, ["Probe F", "", "body voltage", "", "mV", "5", "1", *[""] * 5,
                          "C-50", "2026-01-10", ""]]  # fmt: skip
    pending = checked(folder(rows), assessor)
    decide(office, pending, "confirmed")
    _office_knows_the_new_instrument()
    imported(pending)
    assert (pending.state, pending.decision, pending.decided_by) == ("office", "", None)
    assert brought(pending) == [("Probe E", "C-99", "9"), ("Probe F", "C-50", "5")]
    assert not Calibration.objects.filter(certificate__in=["C-99", "C-50"]).exists()


def test_the_offices_own_comes_back_to_it(register, office) -> None:
    pending = checked(folder(NEW_INSTRUMENT), office)
    uploads.confirm_upload(pending=pending, now=timezone.now())
    _office_knows_the_new_instrument()
    imported(pending)
    assert (pending.state, len(pending.certificates)) == ("ready", 2)
    with pytest.raises(ValidationError, match="has changed meanwhile"):
        uploads.confirm_upload(pending=pending, now=timezone.now(), seen=0)
    assert uploads.confirm_upload(pending=pending, now=timezone.now(), seen=1)
    assert imported(pending, again=":1").state == "done"


def test_what_the_register_has_by_then_needs_no_second_row(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    decide(office, pending, "confirmed")
    _office_has_it_already()
    assert imported(pending).state == "done"
    assert Calibration.objects.filter(certificate="C-99").count() == 1


def test_an_owner_who_left_the_office_confirms_no_certificate(register, office) -> None:
    pending = checked(folder(NEW_NUMBER), office)
    uploads.confirm_upload(pending=pending, now=timezone.now())
    User.objects.filter(pk=office.pk).update(role=User.Role.ASSESSOR)
    assert imported(pending).state == "office"
    assert not Calibration.objects.filter(certificate="C-99").exists()


# -- Its time -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "stays"), [(2, True), (13, True), (15, False)])
def test_it_waits_for_fourteen_days(register, assessor, days, stays) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    later = timezone.now() + dt.timedelta(days=days)
    uploads.drop_expired(now=later)
    assert PendingUpload.objects.filter(pk=pending.pk).exists() == stays
    assert default_storage.exists(str(pending.file)) == stays


def test_nobody_decides_on_an_upload_whose_time_is_over(register, assessor, office) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    assert pending.expires_at is not None
    given = {"pending": pending, "by": office, "decision": "confirmed", "reason": "", "seen": 0}
    with pytest.raises(ValidationError, match="has changed meanwhile"):
        upload_decisions.decide_upload(**given, now=pending.expires_at)
    assert not PendingUpload.objects.for_office(pending.expires_at).exists()
    assert not Job.objects.filter(kind=uploads.IMPORT_UPLOAD).exists()
    assert upload_decisions.decide_upload(**given, now=pending.expires_at - dt.timedelta(seconds=1))


def test_the_daily_clearing_leaves_it_its_time_too(register, assessor) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    clear: Callable[..., Any] = clearing.clear_old
    clear(now=timezone.now() + dt.timedelta(days=2))
    assert PendingUpload.objects.filter(pk=pending.pk).exists()
    clear(now=timezone.now() + dt.timedelta(days=15))
    assert not PendingUpload.objects.filter(pk=pending.pk).exists()


@pytest.mark.parametrize("state", ["office", "ready"])
def test_an_erasure_of_a_client_drops_it_like_one_that_is_ready(assessor, state) -> None:
    if state == "office":
        Instrument.objects.create(name="Probe E")
    pending = checked(folder(), assessor)
    assert pending.state == state
    erasure = erase_person(person=ClientFactory(), by=None, now=timezone.now(), reason="moved")
    assert not PendingUpload.objects.exists() and str(pending.file) in erasure.files_left


def test_the_form_shows_the_reason_again_when_none_pressed_a_button(
    register, assessor, office
) -> None:
    pending = checked(folder(NEW_NUMBER), assessor)
    answer = decide(office, pending, "perhaps", "typed already")
    assert answer.status_code == 422 and "typed already" in answer.content.decode()
    pending.refresh_from_db()
    assert pending.state == "office"


def test_it_is_said_in_german(register) -> None:
    owner = UserFactory(role=User.Role.ASSESSOR, language="de")
    (line, _second) = checked(folder(SAME_NUMBER), owner).preview["faults"]
    assert line.startswith(
        "instruments.csv Zeile 2, Spalte gain_percent: gefunden '7.5', erlaubt: 8, wie im "
        "Verzeichnis: Der Kalibrierschein C-17 von Probe E"
    )
    with override("de"), pytest.raises(CaseFolderRefused, match="Büro"):
        import_case_folder(source=folder(NEW_NUMBER), by=owner, now=timezone.now())
