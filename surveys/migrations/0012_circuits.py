"""Panels, circuits and appliances with all that is known of them, and links to what was off."""

import unicodedata
import uuid

import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models

import surveys.models.circuits
import surveys.models.names


def fill(apps, schema_editor):
    """Fold the names; of two that are the same now, the later keeps apart by its number."""
    for model, above in (("Panel", "property_id"), ("Circuit", "panel_id")):
        taken = set()
        for row in apps.get_model("surveys", model).objects.order_by("pk"):
            name = folded(row.name)
            if (getattr(row, above), name) in taken:
                name = f"{name} #{row.pk}"
            taken.add((getattr(row, above), name))
            values = {"folded": name}
            if model == "Panel":
                values["uid"] = uuid.uuid4()
            else:
                values["phase"] = row.phase if row.phase in ("L1", "L2", "L3") else ""
            apps.get_model("surveys", model).objects.filter(pk=row.pk).update(**values)


def folded(name):
    """Frozen: the live rule is in `surveys.models.names`."""
    plain = unicodedata.normalize("NFC", name).casefold()
    return " ".join(unicodedata.normalize("NFC", plain).split())


class Migration(migrations.Migration):

    dependencies = [
        ('consult', '0011_no_former_emails'),
        ('surveys', '0011_one_row_for_a_key'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Appliance',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80, validators=[surveys.models.circuits.validate_source_name], verbose_name='appliance')),
                ('folded', surveys.models.names.FoldedField(blank=True, default='', editable=False, max_length=240)),
                ('note', models.TextField(blank=True, verbose_name='note')),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
            ],
            options={
                'ordering': ['pk'],
            },
        ),
        migrations.CreateModel(
            name='ApplianceOff',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ],
            options={
                'ordering': ['pk'],
            },
        ),
        migrations.CreateModel(
            name='CircuitOff',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ],
            options={
                'ordering': ['pk'],
            },
        ),
        migrations.CreateModel(
            name='HistoricalAppliance',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('name', models.CharField(max_length=80, validators=[surveys.models.circuits.validate_source_name], verbose_name='appliance')),
                ('note', models.TextField(blank=True, verbose_name='note')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical appliance',
                'verbose_name_plural': 'historical appliances',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalCircuit',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('name', models.CharField(max_length=80, validators=[surveys.models.circuits.validate_source_name], verbose_name='circuit')),
                ('label', models.CharField(blank=True, max_length=200, verbose_name='what it feeds')),
                ('phase', models.CharField(blank=True, choices=[('L1', 'L1'), ('L2', 'L2'), ('L3', 'L3')], max_length=2, verbose_name='phase')),
                ('rating_a', models.FloatField(blank=True, null=True, verbose_name='rating [A]')),
                ('rcd', models.CharField(blank=True, choices=[('yes', 'yes'), ('no', 'no')], max_length=3, verbose_name='residual-current protection')),
                ('poles', models.PositiveSmallIntegerField(blank=True, choices=[(1, '1'), (2, '2')], null=True, verbose_name='poles that its switch opens')),
                ('note', models.TextField(blank=True, verbose_name='note')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical circuit',
                'verbose_name_plural': 'historical circuits',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalPanel',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('name', models.CharField(max_length=80, verbose_name='panel')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
            ],
            options={
                'verbose_name': 'historical panel',
                'verbose_name_plural': 'historical panels',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.RemoveConstraint(
            model_name='circuit',
            name='circuit_name_is_unique_in_panel',
        ),
        migrations.RemoveConstraint(
            model_name='panel',
            name='panel_name_is_unique_at_home',
        ),
        migrations.AddField(
            model_name='circuit',
            name='folded',
            field=surveys.models.names.FoldedField(blank=True, default='', editable=False, max_length=240),
        ),
        migrations.AddField(
            model_name='circuit',
            name='label',
            field=models.CharField(blank=True, max_length=200, verbose_name='what it feeds'),
        ),
        migrations.AddField(
            model_name='circuit',
            name='note',
            field=models.TextField(blank=True, verbose_name='note'),
        ),
        migrations.AddField(
            model_name='circuit',
            name='poles',
            field=models.PositiveSmallIntegerField(blank=True, choices=[(1, '1'), (2, '2')], null=True, verbose_name='poles that its switch opens'),
        ),
        migrations.AddField(
            model_name='circuit',
            name='rating_a',
            field=models.FloatField(blank=True, null=True, verbose_name='rating [A]'),
        ),
        migrations.AddField(
            model_name='circuit',
            name='rcd',
            field=models.CharField(blank=True, choices=[('yes', 'yes'), ('no', 'no')], max_length=3, verbose_name='residual-current protection'),
        ),
        migrations.AddField(
            model_name='panel',
            name='folded',
            field=surveys.models.names.FoldedField(blank=True, default='', editable=False, max_length=240),
        ),
        migrations.AddField(
            model_name='panel',
            name='uid',
            field=models.UUIDField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='reading',
            name='main_switch_off',
            field=models.BooleanField(default=False, editable=False),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AlterField(
            model_name='panel',
            name='uid',
            field=models.UUIDField(default=uuid.uuid4, editable=False, unique=True),
        ),
        migrations.AlterField(
            model_name='circuit',
            name='name',
            field=models.CharField(max_length=80, validators=[surveys.models.circuits.validate_source_name], verbose_name='circuit'),
        ),
        migrations.AlterField(
            model_name='circuit',
            name='phase',
            field=models.CharField(blank=True, choices=[('L1', 'L1'), ('L2', 'L2'), ('L3', 'L3')], max_length=2, verbose_name='phase'),
        ),
        migrations.AlterField(
            model_name='panel',
            name='name',
            field=models.CharField(max_length=80, verbose_name='panel'),
        ),
        migrations.AddConstraint(
            model_name='circuit',
            constraint=models.UniqueConstraint(fields=('panel', 'folded'), name='circuit_name_is_unique_in_panel'),
        ),
        migrations.AddConstraint(
            model_name='circuit',
            constraint=models.CheckConstraint(condition=models.Q(('phase__in', ['', 'L1', 'L2', 'L3'])), name='circuit_phase_is_known'),
        ),
        migrations.AddConstraint(
            model_name='circuit',
            constraint=models.CheckConstraint(condition=models.Q(('rcd__in', ['', 'yes', 'no'])), name='circuit_rcd_is_known'),
        ),
        migrations.AddConstraint(
            model_name='circuit',
            constraint=models.CheckConstraint(condition=models.Q(('poles__isnull', True), ('poles__in', [1, 2]), _connector='OR'), name='circuit_has_one_pole_or_two'),
        ),
        migrations.AddConstraint(
            model_name='circuit',
            constraint=models.CheckConstraint(condition=models.Q(('rating_a__isnull', True), ('rating_a__gt', 0), _connector='OR'), name='circuit_rating_is_above_0'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.UniqueConstraint(fields=('property', 'folded'), name='panel_name_is_unique_at_home'),
        ),
        migrations.AddField(
            model_name='appliance',
            name='circuit',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='appliances', to='surveys.circuit'),
        ),
        migrations.AddField(
            model_name='appliance',
            name='property',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='appliances', to='consult.property'),
        ),
        migrations.AddField(
            model_name='appliance',
            name='room',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='appliances', to='surveys.room'),
        ),
        migrations.AddField(
            model_name='applianceoff',
            name='appliance',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='times_off', to='surveys.appliance'),
        ),
        migrations.AddField(
            model_name='applianceoff',
            name='reading',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='surveys.reading'),
        ),
        migrations.AddField(
            model_name='reading',
            name='off_appliances',
            field=models.ManyToManyField(related_name='readings', through='surveys.ApplianceOff', to='surveys.appliance'),
        ),
        migrations.AddField(
            model_name='circuitoff',
            name='circuit',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='times_off', to='surveys.circuit'),
        ),
        migrations.AddField(
            model_name='circuitoff',
            name='reading',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='surveys.reading'),
        ),
        migrations.AddField(
            model_name='reading',
            name='off_circuits',
            field=models.ManyToManyField(related_name='readings', through='surveys.CircuitOff', to='surveys.circuit'),
        ),
        migrations.AddField(
            model_name='historicalappliance',
            name='circuit',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='surveys.circuit'),
        ),
        migrations.AddField(
            model_name='historicalappliance',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='historicalappliance',
            name='property',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='consult.property'),
        ),
        migrations.AddField(
            model_name='historicalappliance',
            name='room',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='surveys.room'),
        ),
        migrations.AddField(
            model_name='historicalcircuit',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='historicalcircuit',
            name='panel',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='surveys.panel'),
        ),
        migrations.AddField(
            model_name='historicalpanel',
            name='history_user',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='historicalpanel',
            name='property',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='consult.property'),
        ),
        migrations.AddConstraint(
            model_name='appliance',
            constraint=models.UniqueConstraint(fields=('property', 'folded'), name='appliance_name_is_unique_at_home'),
        ),
        migrations.AddConstraint(
            model_name='applianceoff',
            constraint=models.UniqueConstraint(fields=('reading', 'appliance'), name='appliance_is_off_once_in_a_reading'),
        ),
        migrations.AddConstraint(
            model_name='circuitoff',
            constraint=models.UniqueConstraint(fields=('reading', 'circuit'), name='circuit_is_off_once_in_a_reading'),
        ),
    ]
