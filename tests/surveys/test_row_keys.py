"""Keys of imported rows: the same row has the same key, in a longer file and in an export too."""

import random
from uuid import UUID

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from consult.services.privacy.erasures import erase_person
from mitigation.models import Case, Stage
from mitigation.services.exports import export_case_folder, export_case_workbook
from mitigation.services.imports import import_case_folder
from surveys.intake import Upload
from surveys.models import Circuit, GroundCheck, GroundPoint, Reading, Room, Spot, Visit
from tests.surveys.case_folders import (
    CASE_TOML,
    GROUND_CHECKS,
    READINGS,
    TABLES,
    VISITS,
    as_files,
    as_workbook,
    as_zip,
    changed,
)

pytestmark = pytest.mark.django_db
KEYED = (Visit, Room, Spot, GroundPoint, GroundCheck, Reading, Circuit)
NAMES = ("visit__label", "spot__name", "measurand", "x", "total", "state", "note")


def imported(upload):
    return import_case_folder(source=upload, by=None, now=timezone.now()).case


def keys_of(upload):
    """The keys that the rows of a folder get in a site that has none of them, by model."""
    with transaction.atomic():
        imported(upload)
        keys = {model.__name__: set(model.objects.values_list("uid", flat=True)) for model in KEYED}
        transaction.set_rollback(True)
    return keys


def readings_of(upload):
    """What each reading says, with its key, whatever the order of rows."""
    with transaction.atomic():
        imported(upload)
        rows = sorted(map(repr, Reading.objects.values_list(*NAMES, "uid")))
        transaction.set_rollback(True)
    return rows


def with_tables(case=CASE_TOML, **tables):
    names = {f"{name}.csv": rows for name, rows in tables.items()}
    return as_zip(as_files({**TABLES, **names}, case=case))


def test_the_same_folder_gives_the_same_keys_in_every_form():
    keys = keys_of(as_zip())
    assert keys == keys_of(as_workbook())
    assert all(uid.version == 5 for uids in keys.values() for uid in uids)
    everything = [uid for uids in keys.values() for uid in uids]
    assert len(set(everything)) == len(everything) == 20


def test_a_longer_file_of_the_case_brings_back_the_same_keys():
    visits = [*VISITS, ["later", "follow-up", "2026-08-01", "Jo Feld", "", "50", "230", ""]]
    more = changed(READINGS, 8, visit="later")[7]
    shuffled = [READINGS[0], more, *random.Random(7).sample(READINGS[1:], len(READINGS) - 1)]
    checks = [GROUND_CHECKS[0], *reversed(GROUND_CHECKS[1:]), ["later", "rod", "", "", "ok", ""]]
    short = keys_of(as_zip())
    longer = keys_of(with_tables(visits=visits, readings=shuffled, ground_checks=checks))
    added = {name: len(longer[name] - uids) for name, uids in short.items()}
    assert all(uids <= longer[name] for name, uids in short.items())
    assert added == {"Visit": 1, "Room": 0, "Spot": 0, "GroundPoint": 0, "GroundCheck": 1,
                     "Reading": 1, "Circuit": 0}  # fmt: skip
    assert set(readings_of(as_zip())) < set(
        readings_of(with_tables(visits=visits, readings=shuffled))
    )


def test_equal_rows_are_told_apart_by_their_number():
    twice = [*READINGS, READINGS[1]]
    once, double = keys_of(as_zip())["Reading"], keys_of(with_tables(readings=twice))["Reading"]
    assert once < double and len(double) == len(once) + 1


@pytest.mark.parametrize(
    ("cells", "same"),
    [
        ({"x": "30.50"}, True),
        ({"room": "BEDROOM "}, True),
        ({"unit": "V/M"}, True),
        ({"use": ""}, True),
        ({"set_aside": "a hand on the probe"}, True),
        ({"x": "30.6"}, False),
        ({"z": "<0.4"}, False),
        ({"z": ">0.3"}, False),
        ({"ground_point": "rod"}, False),
        ({"taken_at": "21:11"}, False),
        ({"note": ""}, False),
        ({"state": "trial"}, False),
        ({"spot": "bed middle"}, False),
        ({"load": "kettle"}, False),
        ({"body_distance_m": "1.5"}, False),
    ],
)
def test_what_a_reading_says_makes_its_key(cells, same):
    keys = keys_of(as_zip())["Reading"]
    other = keys_of(with_tables(readings=changed(READINGS, 2, **cells)))["Reading"]
    assert len(keys - other) == len(other - keys) == (0 if same else 1)


def test_another_reference_gives_other_keys_and_none_those_of_the_files():
    other = CASE_TOML.replace("EB-TEST-1", "EB-TEST-2")
    without = CASE_TOML.replace('reference = "EB-TEST-1"\n', "")
    keys = [keys_of(with_tables(case=text))["Reading"] for text in (CASE_TOML, other, without)]
    assert not keys[0] & keys[1] and not keys[0] & keys[2]
    assert keys[2] == keys_of(with_tables(case=without))["Reading"]
    later = changed(VISITS, 2, note="thaw")  # other bytes, so other keys
    assert not keys[2] & keys_of(with_tables(case=without, visits=later))["Reading"]


@pytest.mark.parametrize(
    ("export", "name"), [(export_case_folder, "a.zip"), (export_case_workbook, "a.xlsx")]
)
def test_an_export_comes_in_with_the_same_keys(export, name):
    keys = keys_of(as_zip())
    with transaction.atomic():
        data = export(case=imported(as_zip()))
        transaction.set_rollback(True)
    assert keys_of(Upload(name, data)) == keys


def test_hours_become_times_and_both_clocks_are_there():
    now = timezone.now()
    import_case_folder(source=as_zip(), by=None, now=now)
    row = Reading.objects.get(taken_at_text="21:10")
    local = timezone.localtime(row.taken_at, timezone.get_default_timezone())
    assert (local.date(), local.hour, local.minute) == (row.visit.date, 21, 10)
    assert Reading.objects.filter(taken_at_text="").exclude(taken_at=None).count() == 0
    assert set(Reading.objects.values_list("recorded_at", "device_at")) == {(now, None)}


def test_an_import_takes_no_more_statements_for_more_readings():
    counts = []
    for copies in (1, 40):
        rows = [READINGS[0], *(READINGS[1:] * copies)]
        with transaction.atomic(), CaptureQueriesContext(connection) as queries:
            imported(with_tables(readings=rows))
            transaction.set_rollback(True)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_a_folder_comes_in_again_after_its_client_was_erased():
    """The numbers of a home stay; their keys, made from what the rows said, do not."""
    case = imported(as_zip())
    before = set(Reading.objects.values_list("uid", flat=True))
    Case.objects.filter(pk=case.pk).update(stage=Stage.DECLINED)
    erase_person(person=case.property.client, by=None, now=timezone.now(), reason="asked for it")
    left = set(Reading.objects.values_list("uid", flat=True))
    assert len(left) == len(before) and not left & before
    assert all(isinstance(uid, UUID) and uid.version == 4 for uid in left)
    imported(as_zip())
    assert set(Reading.objects.values_list("uid", flat=True)) == left | before
