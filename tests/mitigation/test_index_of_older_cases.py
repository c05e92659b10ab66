"""The migration that finds cases of earlier versions by all of their words."""

from importlib import import_module

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from consult.models import Contact
from consult.services.guards import install_guards, remove_guards
from mitigation.models import Case, CaseWord, FormerReference
from mitigation.services.search import index_all
from tests.factories import CaseFactory, compared_case, issue_outcome_letter


@pytest.mark.long
@pytest.mark.django_db(transaction=True)
def test_cases_of_earlier_versions_are_indexed_by_the_migration(monkeypatch):
    """As the live rule has them, batch after batch; what is wrong in the index goes."""
    letters = {}
    for number in range(3):
        case = compared_case()
        client = case.property.client
        client.name, client.email = f"Øyvind Möwe {number}", f"möwe.{number}@example.org"
        client.phone = f"+49 5121 99887{number}"
        client.save()
        Contact.objects.create(client=client, part="other", name=f"Tann{number}", phone="0170 44")
        FormerReference.objects.create(case=case, reference=f"Kiel {number}")
        letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
        letters[letter.number] = case
    bare = CaseFactory()
    index_all()
    wanted = words_by_case()
    CaseWord.objects.exclude(word__in=["eb", "2026"]).delete()
    CaseWord.objects.create(case=bare, word="wrong")
    assert not Case.objects.matching("möwe").exists()
    migration = import_module("mitigation.migrations.0018_words_of_all_cases")
    monkeypatch.setattr(migration, "BATCH", 2)
    remove_guards()  # as `migrate` does
    executor = MigrationExecutor(connection)
    executor.migrate([("mitigation", "0017_enquiries")])
    try:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
    finally:
        install_guards()
    assert words_by_case() == wanted
    for letter_number, case in letters.items():
        assert list(Case.objects.matching(letter_number)) == [case]
    assert Case.objects.matching("field meter").count() == 3


def words_by_case() -> dict[int, set[str]]:
    words: dict[int, set[str]] = {}
    for case, word in CaseWord.objects.values_list("case", "word"):
        words.setdefault(case, set()).add(word)
    return words
