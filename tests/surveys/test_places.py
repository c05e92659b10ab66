"""Rooms and spots: the same under every spelling, and under another name."""

import datetime as dt
import unicodedata
from importlib import import_module

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from consult.services.changes import ChangedMeanwhileError, version_of
from mitigation.comparison import compare
from mitigation.services.imports import import_case_folder
from surveys.models import Room, Spot
from surveys.models.names import LONGEST, LONGEST_FOLDED, folded
from surveys.services import places, visits
from tests.cast import make_cast
from tests.factories import BASELINE_DAY, PropertyFactory, SpotFactory, UserFactory
from tests.surveys.case_folders import CASE_TOML, TABLES, as_files, as_zip

pytestmark = pytest.mark.django_db
DECOMPOSED = unicodedata.normalize("NFD", "Kühlraum")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Bedroom", "bedroom"),
        (" Bed  room", "bed room "),
        ("bed\u00a0room", "Bed room"),
        ("Kühlraum", DECOMPOSED),
        ("KÜHLRAUM", DECOMPOSED),
        ("Straße", "STRASSE"),
    ],
)
def test_names_that_are_the_same(one, other):
    assert one != other
    assert folded(one) == folded(other)


@pytest.mark.parametrize(
    ("one", "other"), [("Bed 1", "Bed 2"), ("bed room", "bedroom"), ("a", "ä")]
)
def test_names_that_are_not(one, other):
    assert folded(one) != folded(other)


def test_the_longest_name_folded_fits():
    assert len(folded("\ufb03" * LONGEST)) == 3 * LONGEST == LONGEST_FOLDED


def test_the_database_holds_a_name_once_however_it_is_spelt():
    home = PropertyFactory()
    room = Room.objects.create(property=home, name="Kühlraum")
    with pytest.raises(IntegrityError), transaction.atomic():
        Room.objects.bulk_create([Room(property=home, name=DECOMPOSED.upper())])
    Room.objects.create(property=PropertyFactory(), name="kühlraum")
    Spot.objects.create(room=room, name="bed head")
    with pytest.raises(IntegrityError), transaction.atomic():
        Spot.objects.create(room=room, name="Bed  Head")


def test_a_spot_typed_in_another_spelling_is_the_one_that_is_there():
    office = UserFactory()
    visit = visits.plan_visit(home=PropertyFactory(), kind="baseline", day=BASELINE_DAY, by=office)
    first = places.add_spot(visit=visit, by=office, room="Kühlraum", spot=" Bed  head ")
    again = places.add_spot(visit=visit, by=office, room=DECOMPOSED.upper(), spot="bed head")
    assert again == first
    assert (str(first), Room.objects.count()) == ("Kühlraum, Bed head", 1)


def test_a_file_with_several_spellings_gives_one_spot_as_first_spelt():
    def spell(rows):
        """The rows with their rooms and spots in another spelling."""
        place = {name: rows[0].index(name) for name in ("room", "spot")}
        spelt = [list(row) for row in rows]
        for row in spelt[1:]:
            row[place["room"]] = f"{row[place['room']].upper()} "
            row[place["spot"]] = row[place["spot"]].replace(" ", "\u00a0 ").swapcase()
        return spelt[1:]

    plain = import_case_folder(source=as_zip(), by=None, now=_now()).case
    n_spots = Spot.objects.count()
    names = set(Spot.objects.values_list("room__name", "name"))
    rows = TABLES["readings.csv"]
    tables = {**TABLES, "readings.csv": rows + spell(rows)}
    odd_source = as_zip(as_files(tables, case=CASE_TOML.replace("EB-TEST-1", "EB-TEST-2")))
    odd = import_case_folder(source=odd_source, by=None, now=_now()).case
    assert Spot.objects.count() == 2 * n_spots
    assert set(Spot.objects.values_list("room__name", "name")) == names
    first, second = compare(plain).as_json(), compare(odd).as_json()
    assert first["spots"] == second["spots"]


def _now():
    return dt.datetime(2026, 7, 1, 9, 30, tzinfo=dt.UTC)


def test_a_migration_keeps_apart_what_stood_apart():
    home = PropertyFactory()
    rooms = [Room.objects.create(property=home, name=name) for name in ("Hall", "Kitchen")]
    # As it was before: two names that were two then.
    Room.objects.filter(pk=rooms[1].pk).update(name="HALL")
    migration = import_module("surveys.migrations.0005_names_and_their_history")
    migration.fold_names(apps, None)
    assert list(Room.objects.order_by("pk").values_list("name", "folded")) == [
        ("Hall", "hall"),
        ("HALL", f"hall #{rooms[1].pk}"),
    ]


def test_a_renamed_room_is_the_same_room_and_its_history_is_kept():
    office = UserFactory()
    spot = SpotFactory()
    room = spot.room
    places.rename_room(room=room, by=office, name=" North  room", version=version_of(room))
    spot.refresh_from_db()
    assert (spot.room_id, spot.room.name) == (room.pk, "North room")
    history = list(room.history.order_by("history_id").values_list("name", "history_user"))
    assert history[-1] == ("North room", office.pk)
    assert history[0][0] == "Bedroom"


def test_a_room_that_came_in_a_file_tells_its_first_name_too():
    import_case_folder(source=as_zip(), by=None, now=_now())
    room, office = Room.objects.order_by("pk")[0], UserFactory()
    before = room.name
    assert not room.history.exists()
    places.rename_room(room=room, by=office, name="Attic", version=0)
    assert list(room.history.order_by("history_id").values_list("name", flat=True)) == [
        before,
        "Attic",
    ]


def test_the_second_of_two_who_rename_a_spot_is_told():
    office, spot = UserFactory(), SpotFactory()
    seen = version_of(spot)
    places.change_spot(spot=spot, by=office, name="bed end", use="sleeping", version=seen)
    with pytest.raises(ChangedMeanwhileError):
        places.change_spot(spot=spot, by=office, name="pillow", use="sleeping", version=seen)
    assert Spot.objects.get(pk=spot.pk).name == "bed end"


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def browser(cast, client):
    cast.log_in(client, "its assessor")
    return client


def test_a_room_is_renamed_on_its_page(browser, cast):
    spot = Spot.objects.get(room__property=cast.case.property)
    page = reverse("room_edit", args=[spot.room_id])
    other = Room.objects.create(property=cast.case.property, name="Study")
    version = version_of(spot.room)
    taken = browser.post(page, {"name": "STUDY ", "version": version})
    assert (taken.status_code, "room of that name already" in taken.content.decode()) == (422, True)
    assert browser.post(page, {"name": "", "version": version}).status_code == 422
    # The same room in another spelling is no clash with itself.
    assert browser.post(page, {"name": "bedroom", "version": version}).status_code == 302
    assert browser.post(page, {"name": "Attic", "version": version}).status_code == 422
    shown = browser.get(page).content.decode()
    assert "Bedroom" in shown
    sealed = cast.case.visits.get(kind="baseline")
    assert "bedroom, " in browser.get(reverse("visit_detail", args=[sealed.pk])).content.decode()
    listed = browser.get(reverse("place_list", args=[cast.case.property_id])).content.decode()
    assert reverse("room_edit", args=[other.pk]) in listed


def test_a_spot_is_changed_on_its_page(browser, cast):
    spot = Spot.objects.get(room__property=cast.case.property)
    page = reverse("spot_edit", args=[spot.pk])
    form = {"name": "Pillow", "use": "other", "version": version_of(spot)}
    assert browser.post(page, form | {"use": "cellar"}).status_code == 422
    assert browser.post(page, form).status_code == 302
    spot.refresh_from_db()
    assert (spot.name, spot.use) == ("Pillow", "other")


def test_the_list_of_places_costs_the_same_for_one_and_for_twenty(browser, cast):
    page = reverse("place_list", args=[cast.case.property_id])
    browser.get(page)
    counts = []
    for time in range(2):
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(page).status_code == 200
        counts.append(len(queries))
        for number in range(20):
            room = Room.objects.create(property=cast.case.property, name=f"room {time}-{number}")
            Spot.objects.create(room=room, name="bed")
    assert counts[0] == counts[1]
