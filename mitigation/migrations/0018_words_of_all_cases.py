"""Older cases are found by letters, e-mails, phones, contacts and instruments, too."""

from collections import defaultdict

from django.db import migrations

from mitigation.migrations._frozen_words import words_of

BATCH = 1_000


def index_again(apps, schema_editor):
    """In batches; words that are as they should be are left alone."""
    keys = list(
        apps.get_model("mitigation", "Case").objects.order_by("pk").values_list("pk", flat=True)
    )
    for start in range(0, len(keys), BATCH):
        index_batch(apps, keys[start : start + BATCH])


def index_batch(apps, keys):
    CaseWord = apps.get_model("mitigation", "CaseWord")
    wanted, have = defaultdict(set), defaultdict(set)
    for case, words in words_of_cases(apps, keys):
        wanted[case] |= words
    for case, word in CaseWord.objects.filter(case__in=keys).values_list("case", "word"):
        have[case].add(word)
    for case, words in have.items():
        gone = words - wanted[case]
        if gone:
            CaseWord.objects.filter(case=case, word__in=gone).delete()
    CaseWord.objects.bulk_create(
        (
            CaseWord(case_id=case, word=word)
            for case, words in wanted.items()
            for word in sorted(words - have[case])
        ),
        batch_size=2 * BATCH,
        ignore_conflicts=True,
    )


def words_of_cases(apps, keys):
    """Each case with some of its words, from every table that gives any."""
    cases = apps.get_model("mitigation", "Case").objects.filter(pk__in=keys).order_by()
    client = "property__client"
    contacts = f"{client}__contacts"
    own = cases.values_list(
        "pk", "reference", "property__address",
        f"{client}__name", f"{client}__email", f"{client}__phone",
    )  # fmt: skip
    beside = cases.filter(**{f"{contacts}__isnull": False}).values_list(
        "pk", f"{contacts}__name", f"{contacts}__email", f"{contacts}__phone"
    )
    spots = cases.filter(property__rooms__spots__isnull=False).values_list(
        "pk", "property__rooms__name", "property__rooms__spots__name"
    )
    former = cases.filter(former_references__isnull=False).values_list(
        "pk", "former_references__reference"
    )
    letters = apps.get_model("mitigation", "CaseLetter").objects.filter(case__in=keys)
    readings = apps.get_model("surveys", "Reading").objects.filter(visit__cases__in=keys)
    instruments = readings.order_by().values_list("visit__cases", "instrument__name").distinct()
    for rows in (
        own, beside, spots, former, letters.values_list("case", "letter__number"), instruments,
    ):  # fmt: skip
        for case, *texts in rows.iterator(chunk_size=2_000):
            yield case, words_of(*texts)


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0019_medical_devices"),
        ("mitigation", "0017_enquiries"),
        ("surveys", "0021_heights_and_sampling"),
    ]
    operations = [migrations.RunPython(index_again, migrations.RunPython.noop)]
