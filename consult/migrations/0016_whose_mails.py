"""Mails belong to the client, log-in and letter that they are for; older ones by what their key says.

A mail of the log-in library names nobody: it belongs to the log-in of its address, if that log-in
has a password, because the link to set one went to that address.
"""

from django.db import migrations


def say_whose(apps, schema_editor):
    Mail = apps.get_model("consult", "OutboundMail")
    letters = dict(apps.get_model("consult", "Letter").objects.values_list("pk", "client_id"))
    events = apps.get_model("consult", "AccessEvent").objects
    rows = apps.get_model("consult", "User").objects.values_list("pk", "email", "password")
    users = {pk for pk, _email, _password in rows}
    confirmed = {
        email.lower(): pk for pk, email, password in rows if password and password[0] != "!"
    }
    for pk, key, to in Mail.objects.values_list("pk", "key", "to").iterator(chunk_size=2000):
        kind, _, rest = key.partition(":")
        number = rest.partition(":")[0]
        number = int(number) if number.isascii() and number.isdigit() else None
        whose = {}
        if kind == "letter-link" and number in letters:
            whose = {"letter_id": number, "client_id": letters[number]}
        elif kind == "invitation" and number in users:
            whose = {"user_id": number}
        elif kind == "second-factor":
            whose = {"user_id": events.filter(pk=number).values_list("about", flat=True).first()}
        elif kind == "log-in":
            whose = {"user_id": confirmed.get(to.lower())}
        if any(whose.values()):
            Mail.objects.filter(pk=pk).update(**whose)


class Migration(migrations.Migration):
    dependencies = [("consult", "0015_mails_belong")]
    operations = [migrations.RunPython(say_whose, migrations.RunPython.noop)]
