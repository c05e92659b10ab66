"""`migrate` leaves a usable system, and no model has changed without its migration."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from consult.models import EntryKey, User
from consult.services.guards import install_guards, remove_guards
from surveys.models import Guideline

pytestmark = pytest.mark.django_db

# Standard of Building Biology Testing Methods, 2008 and 2015.
BOUNDS = {
    "electric-field-ground": [1, 5, 50, None],
    "electric-field-potential-free": [0.3, 1.5, 10, None],
    "body-voltage": [10, 100, 1000, None],
    "magnetic-flux-density": [20, 100, 500, None],
}


@pytest.mark.parametrize(("code", "word"), [("SBM-2008", "concern"), ("SBM-2015", "anomaly")])
def test_the_guidelines_are_there(code, word):
    guideline = Guideline.objects.get(code=code)
    for measurand, bounds in BOUNDS.items():
        bands = guideline.bands.filter(measurand=measurand).order_by("number")
        assert [band.upper for band in bands] == bounds
        assert [band.name for band in bands] == [
            f"{degree} {word}" for degree in ("no", "slight", "severe", "extreme")
        ]
    assert guideline.is_built_in


def test_the_four_roles_are_there():
    assert set(User.Role.values) == {"office", "assessor", "electrician", "client"}


def test_every_change_of_a_model_has_its_migration():
    out = StringIO()
    call_command("makemigrations", "--check", "--dry-run", stdout=out)
    assert "No changes detected" in out.getvalue()


@pytest.mark.long
@pytest.mark.django_db(transaction=True)
def test_the_keys_of_forms_go_down_with_their_rows_and_come_back():
    """As the earlier version wrote them; a form that was sent before is still known after."""
    before = [("surveys", "0006_lists_by_index")]
    remove_guards()  # as `migrate` does before it alters a table
    executor = MigrationExecutor(connection)
    executor.migrate(before)
    try:
        Old = executor.loader.project_state(before).apps.get_model("surveys", "EntryKey")
        first = Old.objects.create(digest="a" * 64, row=7)
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
        install_guards()
    kept = EntryKey.objects.get(digest="a" * 64)
    assert (kept.pk, kept.row, kept.made_at) == (first.pk, 7, first.made_at)
    assert EntryKey.objects.create(digest="b" * 64, row=8).pk > kept.pk
    with pytest.raises(IntegrityError), transaction.atomic():
        EntryKey.objects.create(digest="a" * 64, row=9)
    assert "surveys_entrykey" not in connection.introspection.table_names()
