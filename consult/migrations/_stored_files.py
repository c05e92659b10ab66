"""What migrations need to give the files that rows name a row of their own, as it was then.

No byte is moved. Size and digest come from the row where it has them, else from the file; of a
file that is not there nothing is known, and it is never handed out.
"""

import hashlib

from django.core.files.storage import default_storage

BATCH = 500
CHUNK = 1 << 16


def give_rows(apps, schema_editor, model, describe):
    """For each row of `model` with a file: a StoredFile of what `describe(row)` says of it."""
    StoredFile = apps.get_model("consult", "StoredFile")
    wanted = model.objects.exclude(file="").filter(stored=None).order_by("pk")
    while rows := list(wanted[:BATCH]):
        files = [StoredFile(file=str(row.file), **describe(row)) for row in rows]
        StoredFile.objects.bulk_create(files)
        named = [file.file for file in files]
        made = dict(StoredFile.objects.filter(file__in=named).values_list("file", "pk"))
        for row in rows:
            row.stored_id = made[str(row.file)]
        model.objects.bulk_update(rows, ["stored"])
    # PostgreSQL changes no table whose rows wait to be checked.
    schema_editor.connection.check_constraints()


def take_rows(apps, schema_editor, model, return_to):
    """The way back: `return_to(row, stored)` puts on the row what it named before."""
    StoredFile = apps.get_model("consult", "StoredFile")
    wanted = model.objects.exclude(stored=None).select_related("stored").order_by("pk")
    while rows := list(wanted[:BATCH]):
        stored = [row.stored_id for row in rows]
        for row in rows:
            row.file = str(row.stored.file)
            return_to(row, row.stored)
            row.stored = None
            row.save()
        StoredFile.objects.filter(pk__in=stored).delete()
    schema_editor.connection.check_constraints()


def size_of(key):
    try:
        return default_storage.size(key)
    except OSError:
        return 0


def digest_of(key):
    digest = hashlib.sha256()
    try:
        with default_storage.open(key) as file:
            while piece := file.read(CHUNK):
                digest.update(piece)
    except OSError:
        return ""
    return digest.hexdigest()
