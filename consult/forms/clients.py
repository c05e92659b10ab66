"""Forms about clients, the people beside them, and their homes."""

from typing import Any

from django import forms
from django.conf import settings
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from consult.forms.asking import AskingForm
from consult.forms.numbers import plain_numbers
from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from consult.models import Client, Contact, Property, current_practice
from consult.services.changes import version_of

# Volts, hertz and phases of a usual home (common practice); of North America first.
SPLIT_PHASE = {"supply_voltage_v": 120.0, "frequency_hz": 60.0, "phases": 2}
ONE_PHASE = {"supply_voltage_v": 230.0, "frequency_hz": 50.0, "phases": 1}


class VersionedForm(OnceForm, forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable at run time
    """A form that enters a row once, or knows which state of its row the person saw."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial["version"] = version_of(self.instance)
            del self.fields["key"]

    @property
    def seen(self) -> int:
        """The state that the person saw."""
        return self.cleaned_data.get("version") or 0


class ClientForm(AskingForm, VersionedForm):
    language = forms.ChoiceField(label=_("Language of letters"), choices=settings.LANGUAGES)

    def ask_about(self, client: Client) -> None:
        """Ask whether this is another client than one who is there, with the way to that one."""
        question = format_html(
            '{} <a class="keep" href="{}">{}</a>',
            _("%(name)s is a client already, with the same phone, e-mail or address.")
            % {"name": client.name},
            reverse("client_detail", args=[client.pk]),
            _("Take that client instead"),
        )
        label = _("Yes, I mean it: this is somebody else")
        self.ask([(None, question)], str(client.pk), label)

    class Meta:
        model = Client
        fields = ["name", "address", "phone", "email", "language"]
        help_texts = {
            "name": _("As it stands on letters; two people who live together may share one."),
            "address": _("Empty: letters go to the address of the home."),
            "email": _("May stay empty: letters can be posted."),
        }
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}


class ContactForm(VersionedForm):
    class Meta:
        model = Contact
        fields = ["part", "name", "phone", "email", "address"]
        labels = {"part": _("Who is this?")}
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}


class PropertyForm(VersionedForm):
    class Meta:
        model = Property
        fields = ["address", "country", "supply_voltage_v", "frequency_hz", "phases"]
        help_texts = {"country": _("Two letters, such as DE or US.")}
        widgets = {"address": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.instance.pk:
            country = current_practice().country
            supply = SPLIT_PHASE if country in ("US", "CA") else ONE_PHASE
            self.initial = {**self.initial, "country": country, **supply}
        self.initial = plain_numbers(self.initial)

    def clean_country(self) -> str:
        return str(self.cleaned_data["country"]).upper()


class ClientChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # as above
    """A client, told apart from one of the same name by address, phone and e-mail."""

    def label_from_instance(self, obj: Any) -> str:
        parts = [obj.name, *obj.address.splitlines(), obj.phone, obj.email]
        return ", ".join(filter(None, parts))


class MergeForm(TextForm):
    """Which other record is the same client."""

    gone = ClientChoice(
        label=_("The other record"),
        queryset=Client.objects.none(),
        widget=forms.RadioSelect,
        empty_label=None,
    )
    sure = forms.BooleanField(label=_("It is the same client. This can't be undone."))

    def __init__(self, *args: Any, candidates: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer(candidates)

    def offer(self, candidates: Any) -> None:
        """Let the person choose among `candidates`."""
        field = self.fields["gone"]
        assert isinstance(field, ClientChoice)
        field.queryset = candidates
