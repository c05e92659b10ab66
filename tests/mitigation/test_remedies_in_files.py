"""remedies.csv with circuits.csv and appliances.csv: in and out, what is wrong, what is there."""

import io
import re
import zipfile

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from python_calamine import CalamineWorkbook

from consult import tasks
from consult.models import Job
from mitigation.models import Case, PendingUpload, PlanItem, Remedy
from mitigation.services import uploads
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import import_case_folder
from mitigation.services.plan_items import kinds_of_catalogue, offered_kinds
from surveys.intake import CaseFolderRefused, Upload, check_case_folder
from surveys.intake.columns import COLUMNS
from surveys.intake.template import write_template
from surveys.models import Appliance, Circuit, Room, Spot
from tests.factories import UserFactory
from tests.surveys.case_folders import READINGS, TABLES, as_files, as_workbook, as_zip, changed

pytestmark = pytest.mark.django_db

CIRCUITS = [["circuit", "panel", "phase"], ["F1", "Hall", "L1"], ["F2", "Hall", "L2"],
            ["F3", "Hall", "L3"]]  # fmt: skip
APPLIANCES = [["appliance", "circuit", "room"], ["bedside lamp", "F1", "Bedroom"]]
HEADER = ["item", "remedy", "circuits", "appliances", "room", "spots", "effect_db", "spread_db",
          "works_percent", "cost", "chosen", "state", "done_on", "done_by", "note"]  # fmt: skip
REMEDIES = [
    HEADER,
    ["R1", "demand-switch", "f1; F2", "", "", "", "", "", "", "300", "yes", "accepted", "", "",
     "two poles"],
    ["R2", "shielded-surface", "", "", "bedroom", "Bed Head", "12", "7", "95", "900.5", "no", "",
     "", "", ""],
    ["R3", "unplugged-appliance", "", "Bedside lamp", "", "", "", "", "", "0", "", "done",
     "2026-04-02", "the client", ""],
    ["R4", "moved-bed", "", "", "Bedroom", "", "6.5", "3", "", "", "", "proposed", "", "", ""],
]  # fmt: skip
PLANNED = {**TABLES, "circuits.csv": CIRCUITS, "appliances.csv": APPLIANCES,
           "remedies.csv": REMEDIES}  # fmt: skip


def bring_in(source: Upload) -> Case:
    return import_case_folder(source=source, by=None, now=timezone.now()).case


def items_of(case: Case) -> list[tuple[object, ...]]:
    def names(rows):
        return sorted(row.name for row in rows)

    return [
        (item.name, item.remedy.key, names(item.circuits.all()), names(item.appliances.all()),
         item.room and item.room.name, names(item.spots.all()), item.effect_db, item.spread_db,
         item.works_percent, item.cost, item.is_chosen, item.state, item.done_on, item.done_by,
         item.note)
        for item in PlanItem.objects.filter(case=case).whole().order_by("position")
    ]  # fmt: skip


# -- In and out -------------------------------------------------------------------------------


@pytest.mark.parametrize("make", [lambda t: as_zip(as_files(t)), as_workbook])
def test_a_folder_brings_items_with_what_they_name(make) -> None:
    items = items_of(bring_in(make(PLANNED)))
    assert [row[:6] for row in items] == [
        ("R1", "demand-switch", ["F1", "F2"], [], None, []),
        ("R2", "shielded-surface", [], [], "Bedroom", ["bed head"]),
        ("R3", "unplugged-appliance", [], ["bedside lamp"], None, []),
        ("R4", "moved-bed", [], [], "Bedroom", []),
    ]
    assert [row[6:9] for row in items] == [
        (None, None, None), (12.0, 7.0, 95.0), (None, None, None), (6.5, 3.0, None)
    ]  # fmt: skip
    assert [str(row[9]) for row in items] == ["300.00", "900.50", "0.00", "None"]
    assert [row[10:12] for row in items] == [
        (True, "accepted"), (False, "proposed"), (False, "done"), (False, "proposed")
    ]  # fmt: skip
    assert str(items[2][12]) == "2026-04-02" and items[2][13] == "the client"
    assert items[0][14] == "two poles"


@pytest.mark.parametrize(
    ("export", "name"), [(export_case_folder, "a.zip"), (export_case_workbook, "a.xlsx")]
)
def test_items_go_out_and_come_in_again(export, name) -> None:
    with transaction.atomic():
        case = bring_in(as_zip(as_files(PLANNED)))
        data, first = export(case=case), items_of(case)
        transaction.set_rollback(True)
    again = bring_in(Upload(name, data))
    assert items_of(again) == first and len(first) == 4
    assert Circuit.objects.count() == 3 and Appliance.objects.get().circuit.name == "F1"


def test_spots_that_were_never_read_stay_at_home_and_the_others_come_in_again() -> None:
    """A folder knows spots by their readings; at the others it has nothing to change."""
    with transaction.atomic():
        case = bring_in(as_zip(as_files(PLANNED)))
        first = items_of(case)
        item = case.items.get(name="R2")
        item.spots.add(Spot.objects.create(room=item.room, name="pillow", use="sleeping"))
        assert items_of(case) != first
        data = export_case_folder(case=case)
        transaction.set_rollback(True)
    assert items_of(bring_in(Upload("a.zip", data))) == first


@pytest.mark.parametrize("place", ["spot", "room"])
def test_an_item_of_a_place_that_was_never_read_is_not_said_to_serve_others(place) -> None:
    case = bring_in(as_zip(as_files(PLANNED)))
    item = case.items.get(name="R2")
    if place == "spot":
        item.spots.set([Spot.objects.create(room=item.room, name="pillow", use="sleeping")])
    else:
        item.spots.clear()
        item.room = Room.objects.create(property=case.property, name="Attic")
        item.save()
    with pytest.raises(ValidationError, match=r"Item R2 .* nothing was read"):
        export_case_folder(case=case)


def test_a_case_without_items_exports_no_file_of_remedies() -> None:
    data = export_case_folder(case=bring_in(as_zip()))
    names = zipfile.ZipFile(io.BytesIO(data)).namelist()
    assert "readings.csv" in names and "remedies.csv" not in names


def test_without_a_file_of_circuits_names_are_taken_as_they_come() -> None:
    tables = {**TABLES, "remedies.csv": [["item", "remedy", "circuits"],
                                         ["R1", "demand-switch", "F9; F1"]]}  # fmt: skip
    bring_in(as_zip(as_files(tables)))
    assert {"F9", "F1"} <= set(Circuit.objects.values_list("name", flat=True))


# -- What is wrong ----------------------------------------------------------------------------


def one_fault(source: Upload) -> str:
    (line,) = check_case_folder(source, kinds_of_catalogue()).lines()
    return line


def wrong(place: int, **cells: str) -> dict[str, list[list[str]]]:
    return {**PLANNED, "remedies.csv": changed(REMEDIES, place + 1, **cells)}


@pytest.mark.parametrize(
    ("place", "cells", "column", "reason"),
    [
        (1, {"remedy": "magic"}, "remedy", "demand-switch"),
        (1, {"remedy": ""}, "remedy", "it is required"),
        (1, {"circuits": "F1; F9"}, "circuits", "names of circuits.csv: F1, F2, F3"),
        (1, {"circuits": ""}, "circuits", "one or more names: this kind acts on circuits"),
        (3, {"appliances": "kettle"}, "appliances", "names of appliances.csv: bedside lamp"),
        (3, {"appliances": ""}, "appliances", "one or more names: this kind acts on appliances"),
        (2, {"room": "Attic"}, "room", "a room of readings.csv: Bedroom, Study"),
        (2, {"spots": "desk, seat"}, "spots", "spots of the room: bed head"),
        (2, {"room": ""}, "spots", "empty, where no room is given"),
        (4, {"effect_db": ""}, "effect_db", "a number: the catalogue has none for this kind"),
        (2, {"effect_db": "much"}, "effect_db", "a number"),
        (2, {"spread_db": "-1"}, "spread_db", "a number of 0 or more"),
        (2, {"works_percent": "101"}, "works_percent", "a number from 0 to 100"),
        (2, {"cost": "-5"}, "cost", "a number of 0 or more"),
        (2, {"chosen": "maybe"}, "chosen", "yes, no"),
        (2, {"state": "begun"}, "state", "proposed, accepted, declined, done"),
        (3, {"done_on": "yesterday"}, "done_on", "a date such as 2026-03-14"),
        (2, {"item": ""}, "item", "it is required"),
        (2, {"item": "r1"}, "item", "each name once (row 2 has the same)"),
        (2, {"item": "R2;R3"}, "item", "a name without a semicolon"),
    ],
)
def test_each_wrong_cell_is_named_by_file_row_and_column(place, cells, column, reason) -> None:
    tables = wrong(place, **cells)
    line = one_fault(as_zip(as_files(tables)))
    assert line.startswith(f"remedies.csv row {place + 1}, column {column}: "), line
    assert reason in line
    in_workbook = one_fault(as_workbook(tables))
    assert in_workbook.startswith(f"sheet remedies row {place + 1}, column {column}: ")
    with pytest.raises(CaseFolderRefused):
        bring_in(as_zip(as_files(tables)))
    assert not Case.objects.exists() and not PlanItem.objects.exists()


def test_a_missing_and_an_unknown_column_are_named() -> None:
    no_item = [row[1:] for row in REMEDIES]
    assert "item" in one_fault(as_zip(as_files({**PLANNED, "remedies.csv": no_item})))
    more = [[*row, "x"] for row in REMEDIES]
    more[0][-1] = "colour"
    assert "colour" in one_fault(as_zip(as_files({**PLANNED, "remedies.csv": more})))


def test_an_appliance_on_a_circuit_that_nobody_declared_is_named() -> None:
    tables = {**PLANNED, "appliances.csv": changed(APPLIANCES, 2, circuit="F8")}
    line = one_fault(as_zip(as_files(tables)))
    assert line.startswith("appliances.csv row 2, column circuit: ")


def test_a_trial_that_names_an_undeclared_circuit_is_named() -> None:
    tables = {**PLANNED, "readings.csv": changed(READINGS, 4, circuits_off="F1; F7")}
    line = one_fault(as_zip(as_files(tables)))
    assert line.startswith("readings.csv row 4, column circuits_off: ")


def test_a_retired_kind_is_known_still() -> None:
    Remedy.objects.filter(key="demand-switch").update(is_retired=True)
    assert len(items_of(bring_in(as_zip(as_files(PLANNED))))) == 4


# -- The template -----------------------------------------------------------------------------


def test_the_template_lists_the_keys_of_the_catalogue() -> None:
    Remedy.objects.filter(key="moved-bed").update(is_retired=True)
    kinds = offered_kinds()
    assert "moved-bed" not in kinds and len(kinds) == 9
    data = write_template(kinds)
    book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    assert book.get_sheet_by_name("remedies").to_python()[0] == [
        column.name for column in COLUMNS["remedies.csv"]
    ]
    # The list of the column remedy is a range of the page of explanations: just the keys.
    sheet = zipfile.ZipFile(io.BytesIO(data)).read(
        f"xl/worksheets/sheet{book.sheet_names.index('remedies') + 1}.xml"
    )
    first, last = map(int, re.search(rb"explanations!\$B\$(\d+):\$B\$(\d+)", sheet).groups())
    rows = book.get_sheet_by_name("explanations").to_python(skip_empty_area=False)
    assert [rows[at - 1][1] for at in range(first, last + 1)] == list(kinds)


def test_the_page_and_the_command_give_that_template(client, tmp_path) -> None:
    client.force_login(UserFactory())
    response = client.get(reverse("upload_template"))
    page = b"".join(response) if response.streaming else response.content
    call_command("case_template", str(tmp_path / "a.xlsx"), stdout=io.StringIO())
    for data in (page, (tmp_path / "a.xlsx").read_bytes()):
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        words = [row[1] for row in book.get_sheet_by_name("explanations").to_python()]
        assert set(offered_kinds()) <= set(words)


# -- Into a case that is there ----------------------------------------------------------------


@pytest.fixture
def case() -> Case:
    return bring_in(as_zip(as_files(PLANNED)))


def into(case: Case, remedies, tables=PLANNED) -> bool:
    source = as_zip(as_files({**tables, "remedies.csv": remedies}))
    result = add_further_visits(source=source, into=case, by=None, now=timezone.now())
    return result.created


def test_new_items_come_in_and_those_of_the_case_stay(case) -> None:
    before = items_of(case)
    new = ["R5", "bonded-shield", "", "", "Study", *[""] * 10]
    assert into(case, [*REMEDIES, new])
    assert items_of(case)[:4] == before
    assert items_of(case)[4][:5] == ("R5", "bonded-shield", [], [], "Study")
    assert case.visits.count() == 2
    positions = list(case.items.values_list("position", flat=True))
    assert len(set(positions)) == 5


def test_new_items_alone_need_not_repeat_the_others(case) -> None:
    assert into(case, [HEADER, ["R5", "bonded-shield", "", "", "Study", *[""] * 10]])
    assert [row[0] for row in items_of(case)] == ["R1", "R2", "R3", "R4", "R5"]


def test_the_same_items_again_bring_nothing(case) -> None:
    before = items_of(case)
    respelt = [list(row) for row in REMEDIES]
    respelt[1][0], respelt[1][-1] = "r1", ""
    assert not into(case, respelt)
    assert items_of(case) == before


@pytest.mark.parametrize(
    ("place", "cells", "allowed"),
    [
        (1, {"remedy": "shielded-cable"}, "demand-switch, as item R1 of the case has it"),
        (1, {"circuits": "F1"}, "F1; F2, as item R1 of the case has it"),
        (1, {"cost": "310"}, "300.00, as item R1 of the case has it"),
        (1, {"state": "declined"}, "accepted, as item R1 of the case has it"),
        (1, {"note": "one pole"}, "two poles, as item R1 of the case has it"),
        (2, {"effect_db": "13"}, "12.0, as item R2 of the case has it"),
        (2, {"room": "Study", "spots": "desk, seat"}, "Bedroom, as item R2 of the case has it"),
        (3, {"done_on": "2026-04-03"}, "2026-04-02, as item R3 of the case has it"),
        (3, {"done_by": "a neighbour"}, "the client, as item R3 of the case has it"),
        (4, {"works_percent": "50"}, "nothing, as item R4 of the case has it"),
    ],
)
def test_another_content_under_a_known_name_refuses_the_whole_folder(
    case, place, cells, allowed
) -> None:
    before = items_of(case)
    new = ["R5", "bonded-shield", "", "", "Study", *[""] * 10]
    with pytest.raises(CaseFolderRefused) as refused:
        into(case, [*changed(REMEDIES, place + 1, **cells), new])
    fault = refused.value.faults[0]
    assert (fault.file, fault.row, fault.column) == ("remedies.csv", place + 1, next(iter(cells)))
    assert fault.allowed == allowed
    assert items_of(case) == before


def test_what_was_chosen_since_contradicts_nothing(case) -> None:
    case.items.update(is_chosen=False)
    assert not into(case, changed(REMEDIES, 3, note=""))
    assert not case.items.filter(is_chosen=True).exists()


# -- Uploads ----------------------------------------------------------------------------------


def checked(source: Upload, client, into: Case | None = None) -> str:
    """The page of an upload after its check."""
    office = UserFactory()
    client.force_login(office)
    pending = uploads.keep_upload(upload=source, by=office, now=timezone.now(), into=into)
    job = Job.objects.get(kind=uploads.CHECK_UPLOAD, arguments={"upload": pending.pk})
    assert tasks.run_job(job.pk)
    assert PendingUpload.objects.get().state == "ready", PendingUpload.objects.get().preview
    return client.get(reverse("upload_preview", args=[pending.token])).content.decode()


def test_the_preview_of_an_upload_counts_the_items(client) -> None:
    content = checked(as_zip(as_files(PLANNED)), client)
    assert "<dt>Items of the plan</dt><dd>4</dd>" in content


def test_a_folder_without_items_counts_none(client) -> None:
    assert "Items of the plan" not in checked(as_zip(), client)


def test_the_preview_says_how_many_items_are_new_to_the_case(client, case) -> None:
    rows = [*REMEDIES, ["R5", "bonded-shield", "", "", "Study", *[""] * 10]]
    source = as_zip(as_files({**PLANNED, "remedies.csv": rows}))
    content = checked(source, client, into=case)
    assert "1 item of the plan" in content
    assert "nothing: all of it is there already" not in content
