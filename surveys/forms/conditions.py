"""The head of a visit: its day, who measures, the conditions."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from consult.forms.asking import AskingForm, Question
from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.models import User
from surveys.forms.assessors import AssessorField, OutsiderField, choose_or_name, offer_assessors
from surveys.forms.fields import NumberField
from surveys.forms.visit_days import asked_of_booking, asked_of_day
from surveys.forms.visits import EntryForm
from surveys.models import Visit


class ConditionsForm(AskingForm, EntryForm):
    label = forms.CharField(label=label_of(Visit, "label"), max_length=80)
    date = DayField(label=label_of(Visit, "date"))
    measured_by = AssessorField(label=label_of(Visit, "assessor"))
    assessor = OutsiderField()
    supply_voltage_v = NumberField(label=label_of(Visit, "supply_voltage_v"), required=False)
    temperature_c = NumberField(
        label=label_of(Visit, "temperature_c"), may_be_negative=True, required=False
    )
    humidity_percent = NumberField(
        label=label_of(Visit, "humidity_percent"),
        required=False,
        help_text=_("Above about 70 % readings of the electric field are doubtful."),
    )
    sampling = forms.CharField(
        label=label_of(Visit, "sampling"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Such as: at each bed the head, the middle and the foot. Printed in letters."),
    )
    deviations = forms.CharField(
        label=label_of(Visit, "deviations"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Such as: the lead was too short for the attic. Printed in letters."),
    )
    note = forms.CharField(
        label=label_of(Visit, "note"),
        max_length=10_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("On the conditions of the day. It is printed in the client's letters."),
    )
    instructions = forms.CharField(
        label=label_of(Visit, "instructions"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("Whom to call, where the key is. It stands in no letter."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, visit: Visit, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.visit, self.by = visit, by
        offer_assessors(self, "measured_by")

    def clean(self) -> dict[str, Any]:
        return choose_or_name(self, "measured_by", "assessor")

    def questions(self) -> list[Question]:
        """About what is new alone: the day, and who measures."""
        day, person = self.cleaned_data["date"], self.cleaned_data.get("measured_by")
        name, visit = self.cleaned_data.get("assessor") or "", self.visit
        asked: list[Question] = []
        if day != visit.date:
            asked += [("date", words) for words in asked_of_day(day)]
        if (day, person, name) != (visit.date, visit.measured_by, "" if person else visit.assessor):
            booked = asked_of_booking(
                day=day, home=visit.property, person=person, name=name, by=self.by
            )
            asked += [("measured_by" if person else "assessor", words) for words in booked]
        return asked

    def clean_humidity_percent(self) -> float | None:
        value: float | None = self.cleaned_data["humidity_percent"]
        if value is not None and value > 100:
            raise ValidationError(_("A number from 0 to 100."))
        return value

    @staticmethod
    def initial_of(visit: Visit, version: int) -> dict[str, Any]:
        names = [name for name in ConditionsForm.base_fields if name != "version"]
        shown = {name: getattr(visit, name) for name in names} | {"version": version}
        return shown | ({"assessor": ""} if visit.measured_by_id else {})
