"""A reference fits an address; one that does not is kept as a former one, and a new one derived."""

import django.db.models.deletion
from django.db import migrations, models
from django.utils import timezone

import surveys.models.names
import surveys.models.references
from mitigation.migrations._frozen_words import words_of

LONGEST = 40
FORBIDDEN = "/\\?#%"
WHY = "the former reference fitted no address"


def fits(reference):
    return (
        reference.isprintable()
        and reference == reference.strip()
        and reference not in ("", ".", "..")
        and not any(sign in reference for sign in FORBIDDEN)
    )


def derived(reference, pk, taken):
    """The same characters with a hyphen for what does not fit, and a number where it is taken."""
    plain = "".join(
        "-" if sign in FORBIDDEN or not sign.isprintable() else sign for sign in reference
    )
    base = " ".join(plain.split()).strip("- ")
    if base.strip(".") == "":
        base = f"case {pk}"
    wanted, number = base, 2
    while wanted.casefold() in taken:
        suffix = f"-{number}"
        wanted, number = base[: LONGEST - len(suffix)].rstrip() + suffix, number + 1
    return wanted


def give_fitting(apps, schema_editor):
    Case = apps.get_model("mitigation", "Case")
    rows = list(Case.objects.order_by("pk").values_list("pk", "reference"))
    taken = {reference.casefold() for _pk, reference in rows}
    for pk, former in rows:
        if fits(former):
            continue
        new = derived(former, pk, taken)
        taken.add(new.casefold())
        apps.get_model("mitigation", "FormerReference").objects.create(case_id=pk, reference=former)
        Case.objects.filter(pk=pk).update(reference=new)
        _remember(apps, Case.objects.get(pk=pk))
        _find_by(apps, pk, words_of(former, new))


def _remember(apps, case):
    """One more entry of the history, so that a reader sees when and why."""
    History = apps.get_model("mitigation", "HistoricalCase")
    names = {field.attname for field in History._meta.fields}
    row = {
        field.attname: getattr(case, field.attname)
        for field in case._meta.fields
        if field.attname in names
    }
    History.objects.create(
        **row, history_date=timezone.now(), history_type="~", history_change_reason=WHY
    )


def _find_by(apps, pk, words):
    CaseWord = apps.get_model("mitigation", "CaseWord")
    rows = [CaseWord(case_id=pk, word=word) for word in sorted(words)]
    CaseWord.objects.bulk_create(rows, ignore_conflicts=True)


def give_back(apps, schema_editor):
    """The version before knows one reference for each case: the one that letters print."""
    Case = apps.get_model("mitigation", "Case")
    for former in apps.get_model("mitigation", "FormerReference").objects.order_by("-pk"):
        Case.objects.filter(pk=former.case_id).update(reference=former.reference)


class Migration(migrations.Migration):
    dependencies = [("mitigation", "0010_letters_linked")]

    operations = [
        migrations.CreateModel(
            name="FormerReference",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "reference",
                    models.CharField(max_length=40, unique=True, verbose_name="reference"),
                ),
                (
                    "folded",
                    surveys.models.names.FoldedField(
                        blank=True,
                        db_index=True,
                        default="",
                        editable=False,
                        max_length=120,
                        of="reference",
                    ),
                ),
                (
                    "case",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="former_references",
                        to="mitigation.case",
                    ),
                ),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.RunPython(give_fitting, give_back),
        migrations.AlterField(
            model_name="case",
            name="reference",
            field=models.CharField(
                max_length=40,
                unique=True,
                validators=[surveys.models.references.validate_reference],
                verbose_name="reference",
            ),
        ),
        migrations.AlterField(
            model_name="historicalcase",
            name="reference",
            field=models.CharField(
                db_index=True,
                max_length=40,
                validators=[surveys.models.references.validate_reference],
                verbose_name="reference",
            ),
        ),
    ]
