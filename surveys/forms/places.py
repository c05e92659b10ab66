"""Forms of rooms and spots."""

from django import forms
from django.utils.translation import gettext_lazy as _

from surveys.forms.visits import EntryForm
from surveys.models import Spot
from surveys.models.names import LONGEST


class RoomForm(EntryForm):
    name = forms.CharField(label=_("Name"), max_length=LONGEST)
    version = forms.IntegerField(widget=forms.HiddenInput)


class SpotChangeForm(RoomForm):
    use = forms.ChoiceField(label=_("Use"), choices=Spot.Use.choices)
