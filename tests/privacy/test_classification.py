"""Every field of every table is classified: what it holds of a person, what an erasure does."""

from typing import Any

import pytest
from django.apps import apps
from simple_history.models import HistoricalChanges

from consult.services.privacy.fates import Blank, Goes, Keep, Plain, Table
from consult.services.privacy.persons import history_of, tables

# What every history table has beside the fields of its own table.
OF_A_HISTORY = {
    "history_id",  # its own number
    "history_date",
    "history_type",
    "history_user",  # the number of who changed the row
    "history_change_reason",  # blanked with the row, or gone with it
}


def concrete(model: Any) -> set[str]:
    return {field.name for field in model._meta.concrete_fields}


def live_models() -> list[Any]:
    models = apps.get_models(include_auto_created=True)
    return [model for model in models if not issubclass(model, HistoricalChanges)]


@pytest.mark.parametrize("model", live_models(), ids=lambda model: model._meta.label)
def test_every_field_is_classified_and_nothing_else(model) -> None:
    (table,) = [table for table in tables() if table.get_model() is model]
    assert set(table.fields) == concrete(model)


def test_no_table_is_classified_that_is_not_there() -> None:
    named = [table.get_model() for table in tables()]
    assert len(named) == len(set(named))
    assert set(named) == set(live_models())


def test_every_history_is_that_of_a_classified_table() -> None:
    histories = {model for model in apps.get_models() if issubclass(model, HistoricalChanges)}
    known = {history_of(table.get_model()): table for table in tables()}
    assert set(known) - {None} == histories
    for history in histories:
        assert concrete(history) <= set(known[history].fields) | OF_A_HISTORY


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.model)
def test_what_is_said_of_a_table_fits_together(table: Table) -> None:
    fates = set(map(type, table.fields.values()))
    assert fates <= {Plain, Goes, Blank, Keep}
    if table.deletes:
        assert fates == {Goes}, "a row goes whole"
    if table.deletes or table.blanks:
        assert table.client or table.user, "nobody would ever find its rows"
    assert bool(table.blanks) == bool(table.without), "a page says what goes"
    assert set(table.withheld) <= set(table.fields)
    assert table.deletes or table.blanks or table.file is None
    for fate in table.keeps.values():
        assert len(str(fate.why)) > 10


def test_a_table_stands_after_those_that_it_hangs_on() -> None:
    seen: set[Any] = set()
    for table in tables():
        for way in (table.client, table.user):
            if isinstance(way, str):
                assert table.get_model()._meta.get_field(way).related_model in seen
        seen.add(table.get_model())


def test_free_text_never_counts_as_plain() -> None:
    """Where somebody can type a sentence, they may type a name."""
    # Published tables, with their sources; kinds of remedies, which no person is in.
    registers = {"surveys.Guideline", "mitigation.Remedy"}
    numbers = {"admin.LogEntry.object_id"}  # the number of a row, as text
    for table in tables():
        for name, fate in table.fields.items():
            field: Any = table.get_model()._meta.get_field(name)
            kind = field.get_internal_type()
            if kind in ("TextField", "FileField") and not field.choices:
                where = f"{table.model}.{name}"
                said_plain = isinstance(fate, Plain) and table.model not in registers
                assert not said_plain or where in numbers, where


# Fields of words that hold no word of a person; whoever adds one here has looked.
PLAIN_WORDS = {
    "auth": {"Group.name", "Permission.codename", "Permission.name"},
    "consult": {
        "Client.language", "EntryKey.digest", "Erasure.counted", "Erasure.files_left",
        "Heartbeat.worker", "Letter.language", "Letter.rendered_with", "Letter.rules",
        "Letter.template_version", "Practice.country", "Practice.currency", "Practice.tax_line",
        "Property.country", "User.language",
    },
    "contenttypes": {"ContentType.app_label", "ContentType.model"},
    "mitigation": {
        "CaseEvidence.digest", "CaseEvidence.rules", "Decision.content_sha256", "Decision.option",
        "KeptEffect.left_out", "KeptEffect.remedy", "Plan.content_sha256",
        "Prediction.basis", "Prediction.option", "Remedy.key", "Remedy.name",
        "TestInstrument.name", "TestInstrument.serial", "TestValue.device",
        "TestValue.qualifier", "TestValue.test", "TrialFit.digest", "TrialFit.rule",
        "WorkOrder.content_sha256", "WorkReport.order_sha256",
    },
    "surveys": {
        "Band.name", "Calibration.certificate", "Calibration.description",
        "Calibration.laboratory", "Calibration.unit", "Guideline.code", "Guideline.title",
        "Instrument.maker", "Instrument.name", "Instrument.serial", "Reading.unit",
    },
}  # fmt: skip


def test_each_plain_field_of_words_was_looked_at() -> None:
    found = set()
    for table in tables():
        for name, fate in table.fields.items():
            field: Any = table.get_model()._meta.get_field(name)
            words = field.get_internal_type() in ("CharField", "EmailField", "JSONField")
            if isinstance(fate, Plain) and words and not field.choices:
                found.add(f"{table.model}.{name}")
    assert found == {f"{app}.{name}" for app, names in PLAIN_WORDS.items() for name in names}
