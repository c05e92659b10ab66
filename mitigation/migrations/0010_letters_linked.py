"""Letters that were issued before are linked to their case and visits.

Until now a letter was found by the reference that it prints. Outcome letters have their two visits
in `Outcome`; a survey report spoke of the latest baseline that was sealed when it was issued. An
erased letter names no case and gets no row.
"""

from django.db import migrations

BATCH = 2_000


def link_letters(apps, schema_editor):
    Letter = apps.get_model("consult", "Letter")
    CaseLetter = apps.get_model("mitigation", "CaseLetter")
    LetterVisit = apps.get_model("surveys", "LetterVisit")
    Outcome = apps.get_model("mitigation", "Outcome")
    cases = _cases_by_reference(apps)
    baselines = _sealed_baselines(apps)
    outcomes = {
        letter: (case, [baseline, follow_up])
        for letter, case, baseline, follow_up in Outcome.objects.values_list(
            "letter", "case", "baseline", "follow_up"
        )
    }
    letters = Letter.objects.exclude(case_reference="").order_by("pk")
    wanted = ("pk", "kind", "case_reference", "issued_at")
    links, visits = [], []
    for pk, kind, reference, issued_at in letters.values_list(*wanted).iterator(chunk_size=BATCH):
        case, reported = outcomes.get(pk, (cases.get(reference), []))
        if case is None:
            continue
        if not reported and kind == "survey-report":
            reported = [
                visit for sealed_at, visit in baselines.get(case, []) if sealed_at <= issued_at
            ][:1]
        links.append(CaseLetter(case_id=case, letter_id=pk))
        visits += [LetterVisit(letter_id=pk, visit_id=visit) for visit in reported]
    CaseLetter.objects.bulk_create(links, batch_size=BATCH)
    LetterVisit.objects.bulk_create(visits, batch_size=BATCH)


def _cases_by_reference(apps):
    """Every reference that a case has or had."""
    past = apps.get_model("mitigation", "HistoricalCase").objects.order_by("history_date")
    now = apps.get_model("mitigation", "Case").objects.values_list("reference", "pk")
    living = {pk for _reference, pk in now}
    cases = {
        reference: pk
        for reference, pk in past.values_list("reference", "id").iterator(chunk_size=BATCH)
        if pk in living
    }
    return cases | dict(now)


def _sealed_baselines(apps):
    """The sealed baselines of each case, the one that counts first."""
    rows = apps.get_model("mitigation", "CaseVisit").objects.filter(
        visit__kind="baseline", visit__sealed_at__isnull=False
    )
    baselines = {}
    for case, sealed_at, visit in (
        rows.order_by("-visit__date", "visit__position", "visit__pk")
        .values_list("case", "visit__sealed_at", "visit")
        .iterator(chunk_size=BATCH)
    ):
        baselines.setdefault(case, []).append((sealed_at, visit))
    return baselines


def unlink_letters(apps, schema_editor):
    """The tables go next; what a letter prints says the same."""
    apps.get_model("mitigation", "CaseLetter").objects.all().delete()
    apps.get_model("surveys", "LetterVisit").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0011_no_former_emails"),
        ("mitigation", "0009_letters_of_cases"),
        ("surveys", "0009_visits_of_letters"),
    ]

    operations = [migrations.RunPython(link_letters, unlink_letters)]
