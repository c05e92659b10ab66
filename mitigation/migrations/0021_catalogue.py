"""The kinds of remedies that every practice begins with; their effects are house assumptions."""

from django.db import migrations

CIRCUITS, APPLIANCES, SPOTS = "circuits", "appliances", "spots"
ELECTRICIAN, ANYBODY, CLIENT = "electrician", "anybody", "client"
ELECTRIC, BOTH, MAGNETIC = (True, False), (True, True), (False, True)

# key, name, acts on, (electric, magnetic), effect and spread [dB], works [%], done by, what to test
KINDS = [
    ("demand-switch", "demand switch", CIRCUITS, ELECTRIC, (40.0, 6.0), 90, ELECTRICIAN,
     "Poles that it opens; loads that keep it awake; measure with it asleep."),
    ("shielded-cable", "shielded cable", CIRCUITS, ELECTRIC, (26.0, 6.0), 100, ELECTRICIAN,
     "Screen bonded at one end; insulation."),
    ("rerouted-wiring", "rerouted wiring", CIRCUITS, BOTH, (12.0, 6.0), 100, ELECTRICIAN,
     "Insulation, continuity, polarity."),
    ("shielded-surface", "shielded surface", SPOTS, ELECTRIC, (15.0, 10.0), 100, ANYBODY,
     "Bond, residual-current protection (RCD/GFCI), resistance of the bond. An earthed sheet can "
     "raise the field of what lies above it."),
    ("bonded-shield", "bonded shield", SPOTS, ELECTRIC, (14.0, 8.0), 100, ELECTRICIAN,
     "Resistance of the bond."),
    ("earthed-appliance", "earthed appliance", APPLIANCES, ELECTRIC, (20.0, 8.0), 100, ELECTRICIAN,
     "Continuity of the protective conductor."),
    ("unplugged-appliance", "unplugged appliance", APPLIANCES, BOTH, (80.0, 0.0), 100, CLIENT, ""),
    ("moved-appliance", "moved appliance", APPLIANCES, BOTH, (14.0, 8.0), 100, CLIENT, ""),
    ("wiring-correction", "wiring correction", CIRCUITS, MAGNETIC, (14.0, 8.0), 100, ELECTRICIAN,
     "Net current (clamp) before and after, insulation."),
    ("moved-bed", "moved bed", SPOTS, BOTH, (None, None), 100, CLIENT,
     "The effect is given with the item, from a reading at the new place."),
]  # fmt: skip


def add_kinds(apps, schema_editor):
    remedy = apps.get_model("mitigation", "Remedy")
    remedy.objects.bulk_create(
        remedy(
            key=key,
            name=name,
            acts_on=acts_on,
            is_electric=electric,
            is_magnetic=magnetic,
            effect_db=effect,
            spread_db=spread,
            works_percent=works,
            done_by=done_by,
            instructions=instructions,
        )
        for key, name, acts_on, (electric, magnetic), (effect, spread), works, done_by,
        instructions in KINDS
    )  # fmt: skip


def remove_kinds(apps, schema_editor):
    apps.get_model("mitigation", "Remedy").objects.filter(key__in=[row[0] for row in KINDS]).delete()


class Migration(migrations.Migration):
    dependencies = [("mitigation", "0020_remedies")]

    operations = [migrations.RunPython(add_kinds, remove_kinds)]
