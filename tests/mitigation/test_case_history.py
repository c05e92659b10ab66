"""The history of a case: readings, corrections, instruments, notes, files and letters."""

import datetime as dt

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from consult.services.changes import version_of
from consult.services.sending import mark_posted
from mitigation.models import CaseVisit
from mitigation.services.attachments import attach_file
from mitigation.services.cases import add_note
from mitigation.services.histories import case_changes
from mitigation.services.imports import import_case_folder
from surveys.models import Measurand, Room, Spot, Visit
from surveys.services import corrections, ground_checks, places, registers, visits
from tests.cast import make_cast
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    UserFactory,
    add_reading,
    ready_letter,
)
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 7, 1, 9, 30, tzinfo=dt.UTC)


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def ines():
    return UserFactory(name="Ines Feld")


@pytest.fixture
def open_visit(cast, ines):
    visit = visits.plan_visit(
        home=cast.case.property, kind="baseline", day=BASELINE_DAY, by=ines, label="Second look"
    )
    CaseVisit.objects.create(case=cast.case, visit=visit)
    return visit


def told(case, user):
    return [(one.what, one.kind) for one in case_changes(case, user)]


def find(case, user, what, kind):
    found = [
        one for one in case_changes(case, user) if one.what.startswith(what) and kind in one.kind
    ]
    assert len(found) == 1, told(case, user)
    return found[0]


def fields(change):
    return {field.name: (field.before, field.after) for field in change.fields}


def typed(visit, **more):
    row = {
        "spot": Spot.objects.filter(room__property=visit.property).first(),
        "measurand": Measurand.ELECTRIC_FIELD_GROUND,
        "instrument": visit.property.rooms.get().spots.get().readings.first().instrument,
        "unit": "V/m",
        "total": 5.0,
    }
    return row | more


def test_a_reading_is_told_with_what_it_was_before(cast, open_visit, ines):
    reading = visits.record_reading(visit=open_visit, by=ines, **typed(open_visit))
    entered = find(cast.case, ines, "Reading 1, Second look", "entered")
    assert fields(entered)["Display"] == ("–", "5 V/m")
    visits.correct_reading(reading=reading, by=ines, total=None, x=3.0, y=4.0, y_mark="<")
    visits.set_aside_reading(reading=reading, by=ines, reason="hand moved")
    whole = case_changes(cast.case, ines)
    changes = [one for one in whole if one.what == "Reading 1, Second look"]
    assert [one.kind for one in changes] == ["changed", "changed", "entered"]
    assert {one.who for one in changes} == {"Ines Feld"}
    assert fields(changes[0]) == {"Set aside": ("–", "hand moved")}
    assert fields(changes[1]) == {"Display": ("5 V/m", "X 3, Y <4 V/m")}


def test_many_readings_of_one_person_are_one_act(cast, open_visit, ines):
    for number in range(4):
        visits.record_reading(visit=open_visit, by=ines, **typed(open_visit, total=1.0 + number))
    visits.record_reading(visit=open_visit, by=UserFactory(name="Jo"), **typed(open_visit))
    act = find(cast.case, ines, "Second look", "readings entered")
    assert act.kind == "4 readings entered"
    assert fields(act)["Numbers"] == ("–", "1 … 4")
    assert find(cast.case, ines, "Reading 5", "entered").who == "Jo"


def test_what_came_in_with_a_file_is_told_by_the_file(ines):
    case = import_case_folder(source=as_zip(), by=ines, now=NOW).case
    kinds = [kind for _what, kind in told(case, ines) if "came in" in kind]
    # case_folders.READINGS: six rows before, two after.
    assert sorted(kinds) == [
        "2 readings came in with the file case.zip",
        "6 readings came in with the file case.zip",
    ]


def test_a_correction_is_told_with_its_reason(cast, ines):
    sealed = cast.case.visits.get(kind="baseline").readings.get()
    new = corrections.correct_sealed_reading(
        reading=sealed, by=ines, now=timezone.now(), reason="digits transposed",
        instrument=sealed.instrument, total=84.0, unit="V/m",
    )  # fmt: skip
    change = find(cast.case, ines, f"Reading {sealed.position}", "corrected by")
    assert change.kind == f"corrected by reading {new.position}"
    assert (change.who, change.reason) == ("Ines Feld", "digits transposed")
    assert fields(change) == {"Display": ("48 V/m", "84 V/m")}
    assert not [
        one for one in told(cast.case, ines) if one[0].startswith(f"Reading {new.position}")
    ]
    corrections.set_aside_sealed_reading(
        reading=new, by=ines, now=timezone.now(), reason="wrong room"
    )
    assert find(cast.case, ines, f"Reading {new.position}", "set aside").reason == "wrong room"


def test_a_visit_and_its_ground_checks_are_told(cast, open_visit, ines):
    visits.change_conditions(visit=open_visit, by=ines, humidity_percent=45.0)
    change = find(cast.case, ines, "Visit Second look", "changed")
    assert fields(change) == {"Relative humidity [%]": ("–", "45")}
    point = visits.add_ground_point(visit=open_visit, by=ines, name="rod")
    check = ground_checks.record_ground_check(visit=open_visit, by=ines, point=point)
    ground_checks.correct_ground_check(check=check, by=ines, outlet_test="fault")
    change = find(cast.case, ines, "Ground check rod", "changed")
    assert fields(change) == {"Outlet test": ("not tested", "fault")}


def test_only_the_instruments_of_the_case_are_told(cast, open_visit, ines):
    meter = registers.add_instrument(by=ines, name="field meter Z")
    given = {"quantity": "electric field", "unit": "V/m", "gain_percent": 5.0, "resolution": 0.1}
    row = registers.add_calibration(instrument=meter, by=ines, certificate="Z-1", **given)
    assert not [one for one in told(cast.case, ines) if "Z-1" in one[0]]
    visits.record_reading(visit=open_visit, by=ines, **typed(open_visit, instrument=meter))
    registers.change_calibration(
        calibration=row, by=ines, certificate="Z-1", **given | {"gain_percent": 6.5}
    )
    change = find(cast.case, ines, "Z-1 (field meter Z)", "changed")
    assert fields(change) == {"Gain [%]": ("5", "6.5")}


def test_a_renamed_room_is_told(cast, ines):
    room = Room.objects.get(property=cast.case.property)
    places.rename_room(room=room, by=ines, name="North room", version=version_of(room))
    change = find(cast.case, ines, "Room North room", "changed")
    assert fields(change) == {"room": ("Bedroom", "North room")}


def test_notes_files_and_letters_are_told(cast, ines):
    case = cast.case
    add_note(case=case, text="Dog bites", by=ines, now=NOW)
    attach_file(case=case, name="plan.txt", content=ContentFile(b"a"), by=ines, now=NOW)
    letter = ready_letter(case)
    mark_posted(letter=letter, by=ines, now=timezone.now())
    assert find(case, ines, "Note", "written").reason == "Dog bites"
    assert find(case, ines, "File plan.txt", "attached").at == NOW
    assert find(case, ines, f"Outcome letter {letter.number}", "issued").who == "the system"
    assert find(case, ines, f"Outcome letter {letter.number}", "posted").who == "Ines Feld"


def test_the_page_is_paged_and_costs_the_same_for_many(cast, client, open_visit, ines):
    cast.log_in(client, "its assessor")
    page = reverse("case_history", args=[cast.case.reference])
    reading = visits.record_reading(visit=open_visit, by=ines, **typed(open_visit))
    ready_letter(cast.case)
    add_note(case=cast.case, text="first", by=ines, now=NOW)
    client.get(page)
    counts = []
    for time in range(2):
        with CaptureQueriesContext(connection) as queries:
            shown = client.get(page)
        counts.append(len(queries))
        if time:
            break
        for number in range(60):
            visits.correct_reading(reading=reading, by=ines, total=10.0 + number)
            add_note(case=cast.case, text=f"note {number}", by=ines, now=NOW)
            visit = Visit.objects.create(
                property=cast.case.property, kind="baseline", label="x", date=BASELINE_DAY
            )
            CaseVisit.objects.create(case=cast.case, visit=visit)
            add_reading(visit, reading.spot, CalibrationFactory(), total=1.0)
    assert counts[0] == counts[1]
    assert len(shown.context["changes"]) == 50
    assert 'rel="next"' in shown.content.decode()
    assert client.get(f"{page}?page=2").status_code == 200


def test_what_people_changed_stands_first_and_the_data_are_folded_in(client, ines):
    case = import_case_folder(source=as_zip(), by=ines, now=NOW).case
    room = Room.objects.filter(property=case.property).first()
    places.rename_room(room=room, by=ines, name="North room", version=version_of(room))
    client.force_login(ines)
    url = reverse("case_history", args=[case.reference])
    page = client.get(url)
    text = page.content.decode()
    by_people, _, folded = text.partition("<details>")
    assert "Room North room" in by_people and "Visit" in by_people
    data = [entry.what for entry in case_changes(case, ines) if entry.is_data]
    assert any("C-17" in what for what in data), "a calibration that came in"
    assert f"{len(data)} entries of readings, places and instruments" in folded
    assert "readings came in with the file" in folded and "C-17" in folded
    assert "readings came in with the file" not in by_people and "C-17" not in by_people
    own = client.get(url, {"of": "data"}).content.decode()
    assert (
        "C-17" in own and "<details>" not in own and "Room North room" not in own.split("<h1>")[1]
    )


def test_many_data_are_paged_on_their_own(client, cast, ines):
    room = Room.objects.get(property=cast.case.property)
    for number in range(70):
        Spot.objects.create(room=room, name=f"spot no. {number}")
    cast.log_in(client, "office")
    url = reverse("case_history", args=[cast.case.reference])
    page = client.get(url)
    assert len(page.context["data"]) == 50 < page.context["n_data"]
    assert 'href="?of=data&amp;page=2"' in page.content.decode()
    second = client.get(url, {"of": "data", "page": 2})
    shown = [*page.context["data"], *second.context["changes"]]
    assert (
        len(
            {change.what for change in shown}
            & {f"Spot {room.name}, spot no. {n}" for n in range(70)}
        )
        == 70
    )
