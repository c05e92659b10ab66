"""Short texts become one line each, as the services take them from now on."""

import unicodedata

from django.db import migrations

SHORT = {
    "Practice": ["name", "phone", "website", "signatory"],
    "Firm": ["name", "phone", "licence"],
    "User": ["name"],
    "Client": ["name", "phone"],
    "Contact": ["name", "phone"],
}


def as_one_line(text):
    plain = (" " if unicodedata.category(sign) in ("Cc", "Cs") else sign for sign in text)
    return " ".join("".join(plain).split())


def is_one_line(text):
    return text.isprintable() or as_one_line(text) == text


def make_one_line(apps, schema_editor):
    for name, fields in SHORT.items():
        rows = apps.get_model("consult", name).objects
        for pk, *texts in rows.values_list("pk", *fields).iterator(chunk_size=2000):
            changed = {
                field: as_one_line(text)
                for field, text in zip(fields, texts, strict=True)
                if not is_one_line(text)
            }
            if changed:
                rows.filter(pk=pk).update(**changed)


class Migration(migrations.Migration):
    dependencies = [("consult", "0013_kinds_of_letters")]
    operations = [migrations.RunPython(make_one_line, migrations.RunPython.noop)]
