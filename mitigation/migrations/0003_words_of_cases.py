"""Every case that is there already can be found."""

from django.db import migrations

from mitigation.migrations._frozen_words import words_of


def index(apps, schema_editor):
    Case = apps.get_model("mitigation", "Case")
    CaseWord = apps.get_model("mitigation", "CaseWord")
    Spot = apps.get_model("surveys", "Spot")
    for case in Case.objects.select_related("property__client").iterator(chunk_size=500):
        home = case.property
        words = words_of(case.reference, home.client.name, home.address)
        for names in Spot.objects.filter(room__property=home).values_list("room__name", "name"):
            words |= words_of(*names)
        CaseWord.objects.bulk_create(
            [CaseWord(case=case, word=word) for word in sorted(words)], ignore_conflicts=True
        )


class Migration(migrations.Migration):
    dependencies = [("mitigation", "0002_steering")]
    operations = [migrations.RunPython(index, migrations.RunPython.noop)]
