"""Forms of a firm's report: results, test values, photos, the signature, its instruments."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.clients import VersionedForm
from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from consult.models import Firm
from consult.services.changes import version_of
from mitigation.calc.electrical_tests import KIND_OF, Practice, kinds_of
from mitigation.letters.test_words import DEVICES, named_with_unit
from mitigation.models import TestInstrument, TestValue, WorkReport, WorkResult
from surveys.forms.fields import MarkedNumberField, NumberField
from surveys.forms.visits import EntryForm


class ResultForm(EntryForm):
    """How an item ended, with the state that the person saw."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    result = forms.ChoiceField(
        label=label_of(WorkResult, "result"),
        choices=WorkResult.Result.choices,
        widget=forms.RadioSelect,
    )
    done_on = DayField(
        label=label_of(WorkResult, "done_on"), required=False, years_back=2, years_ahead=0
    )
    words = forms.CharField(
        label=label_of(WorkResult, "words"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=gettext_lazy("Only where it was done differently, or is not possible."),
    )

    def __init__(self, *args: Any, row: WorkResult | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["done_on"] = timezone.localdate()
        if row is not None:
            self.initial.update(result=row.result, done_on=row.done_on, words=row.words)
            self.initial["version"] = version_of(row)

    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("result", "done_on", "words")}


class TestValueForm(OnceForm, EntryForm):
    """A test with what the tester showed."""

    __test__ = False  # no test of ours, though its name begins so
    FOLD = gettext_lazy("Test voltage, residual-current device")
    FOLDED = ("test_voltage_v", "device", "rated_ma")

    test = forms.ChoiceField(label=label_of(TestValue, "test"))
    about = forms.CharField(
        label=label_of(TestValue, "about"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Such as: F3, or bond of the shield behind the bed."),
    )
    value = MarkedNumberField(
        label=label_of(TestValue, "value"),
        required=False,
        help_text=gettext_lazy("As the tester shows it, such as 4.2, <0.3 or >999."),
    )
    passed = forms.ChoiceField(
        label=label_of(TestValue, "passed"),
        required=False,
        choices=[
            ("", "–"),
            ("yes", gettext_lazy("in order")),
            ("no", gettext_lazy("NOT in order")),
        ],
        help_text=gettext_lazy("Of a test that has no value, such as polarity."),
    )
    instrument = forms.ModelChoiceField(
        TestInstrument.objects.none(),
        label=label_of(TestValue, "instrument"),
        required=False,
        empty_label="–",
    )
    remark = forms.CharField(
        label=label_of(TestValue, "remark"),
        max_length=500,
        required=False,
        help_text=gettext_lazy("Needed where a value misses its limit."),
    )
    test_voltage_v = NumberField(label=label_of(TestValue, "test_voltage_v"), required=False)
    device = forms.ChoiceField(label=label_of(TestValue, "device"), required=False)
    rated_ma = NumberField(label=label_of(TestValue, "rated_ma"), required=False)

    def __init__(self, *args: Any, practice: Practice, firm: Firm, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = [(kind.code, named_with_unit(kind.code)) for kind in kinds_of(practice)]
        self.fields["test"].choices = kinds  # type: ignore[attr-defined]  # of its field class
        devices = [("", "–"), *((code, _(words)) for code, words in DEVICES.items())]
        self.fields["device"].choices = devices  # type: ignore[attr-defined]  # as above
        rows = TestInstrument.objects.filter(firm=firm)
        self.fields["instrument"].queryset = rows  # type: ignore[attr-defined]  # as above

    def folded_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.FOLDED]

    def fold_is_open(self) -> bool:
        return any(field.errors or field.value() for field in self.folded_fields())

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        kind = KIND_OF.get(cleaned.get("test", ""))
        if kind is None:
            return cleaned
        value, _mark = cleaned.get("value") or (None, "")
        if kind.unit and value is None and "value" not in self.errors:
            self.add_error("value", _("What the tester showed."))
        if not kind.unit and not cleaned.get("passed"):
            self.add_error("passed", _("In order, or not?"))
        if kind.wants_test_voltage and cleaned.get("test_voltage_v") is None:
            self.add_error("test_voltage_v", _("An insulation test has its test voltage."))
        if kind.wants_device and not cleaned.get("device"):
            self.add_error("device", _("Of which type is the device?"))
        return cleaned

    def given(self) -> dict[str, Any]:
        """What was typed, under the names that the service knows; what the kind has not is left."""
        data = self.cleaned_data
        kind = KIND_OF[data["test"]]
        value, mark = data["value"] or (None, "")
        return {
            "test": kind.code,
            "about": data["about"],
            "value": value if kind.unit else None,
            "qualifier": mark if kind.unit else "",
            "passed": None if kind.unit else data["passed"] == "yes",
            "test_voltage_v": data["test_voltage_v"] if kind.wants_test_voltage else None,
            "device": data["device"] if kind.wants_device else "",
            "rated_ma": data["rated_ma"] if kind.wants_device else None,
            "instrument": data["instrument"],
            "remark": data["remark"],
        }


class SignatureForm(EntryForm):
    """Who did it, with which licence; `shown` is the sheet that was on the screen."""

    name = forms.CharField(label=label_of(WorkReport, "signed_name"), max_length=120)
    licence = forms.CharField(label=label_of(WorkReport, "licence"), max_length=80)
    remark = forms.CharField(
        label=label_of(WorkReport, "remark"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
    )
    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)


class PhotoForm(TextForm):
    photo = forms.FileField(
        label=gettext_lazy("Photo"),
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg", "capture": "environment"}),
    )


class TestInstrumentForm(VersionedForm):
    __test__ = False  # no test of ours, though its name begins so

    calibrated_until = DayField(
        label=label_of(TestInstrument, "calibrated_until"), required=False, years_ahead=10
    )

    class Meta:
        model = TestInstrument
        fields = ["name", "serial", "calibrated_until"]

    def validate_unique(self) -> None:
        """Leave uniqueness to the service, which first looks for the row that this form made."""


class WorksDoneForm(OnceForm, EntryForm):
    """What a client says is done."""

    name = forms.CharField(label=gettext_lazy("Your name"), max_length=120)
    words = forms.CharField(
        label=gettext_lazy("Questions, or anything that we should know"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
    )

    def items(self) -> list[str]:
        """The names of the ticked items."""
        data: Any = self.data
        return data.getlist("item") if hasattr(data, "getlist") else list(data.get("item", ()))
