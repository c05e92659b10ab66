"""Forms about a case: opened, edited, planned, written on."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.asking import AskingForm, Question
from consult.forms.days import DayField
from consult.forms.numbers import plain_numbers
from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from consult.models import User
from consult.services.changes import version_of
from mitigation.forms.enquiries import EnquiryFields
from mitigation.models import Case
from mitigation.services.attachments import MOST_BYTES
from surveys.calc.uncertainty import DEFAULT_PLACEMENT
from surveys.forms.assessors import AssessorField, OutsiderField, choose_or_name, offer_assessors
from surveys.forms.visit_days import asked_of_booking, asked_of_day
from surveys.models import Visit
from surveys.models.references import LONGEST_REFERENCE, validate_reference
from surveys.services.assessors import active_assessors


class CaseForm(EnquiryFields, OnceForm, forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable
    """How a new case is judged, and what the client said."""

    # Declared here because the service checks whether another case has this reference.
    reference = forms.CharField(
        label=gettext_lazy("Reference"),
        max_length=LONGEST_REFERENCE,
        required=False,
        validators=[validate_reference],
        help_text=gettext_lazy("Empty: the next free number of the year."),
    )
    placement_percent = forms.FloatField(
        label=gettext_lazy("Placement uncertainty [%]"), min_value=0, max_value=100
    )

    class Meta:
        model = Case
        fields = ["guideline", "target_band", "placement_percent"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        usual = {"placement_percent": 100 * DEFAULT_PLACEMENT}
        self.initial = plain_numbers({**usual, **self.initial})

    def judged(self) -> dict[str, Any]:
        """All but the enquiry, as the service takes it."""
        return {name: value for name, value in self.cleaned_data.items() if name not in self.FOLDED}


class CaseEditForm(TextForm, forms.ModelForm):  # type: ignore[type-arg]  # not subscriptable
    """How a case is judged and when it is due, with the state that the person saw."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    placement_percent = forms.FloatField(
        label=gettext_lazy("Placement uncertainty [%]"), min_value=0, max_value=100
    )
    due_on = DayField(
        label=gettext_lazy("Due on"),
        required=False,
        years_ahead=10,
        help_text=gettext_lazy("When the next move should be made."),
    )

    class Meta:
        model = Case
        fields = ["guideline", "target_band", "placement_percent", "due_on"]
        help_texts = {
            "guideline": gettext_lazy("Letters that were issued keep what they said."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial = plain_numbers(self.initial) | {"version": version_of(self.instance)}


class PlanVisitForm(AskingForm):
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=Visit.Kind.choices)
    day = DayField(label=gettext_lazy("Day"))
    assessor = AssessorField(label=gettext_lazy("Assessor"))
    outside = OutsiderField()
    instructions = forms.CharField(
        label=gettext_lazy("Note for the assessor"),
        help_text=gettext_lazy("Whom to call, where the key is. It stands in no letter."),
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, case: Case, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.case, self.by = case, by
        offer_assessors(self, "assessor")

    def questions(self) -> list[Question]:
        day, person = self.cleaned_data["day"], self.cleaned_data.get("assessor")
        booked = asked_of_booking(
            day=day,
            home=self.case.property,
            person=person,
            name=self.cleaned_data.get("outside") or "",
            by=self.by,
        )
        visits = self.case.visits.values_list("date", flat=True)
        since = min([timezone.localdate(self.case.opened_at), *visits])
        return [
            *(("day", words) for words in asked_of_day(day, since)),
            *(("assessor" if person else "outside", words) for words in booked),
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = choose_or_name(self, "assessor", "outside")
        if not cleaned.get("assessor") and not cleaned.get("outside") and not self.errors:
            self.add_error("assessor", _("Say who measures."))
        return cleaned


class CallOffForm(TextForm):
    reason = forms.CharField(
        label=gettext_lazy("Why it is called off"),
        max_length=100,
        help_text=gettext_lazy("Stays in the history of the case."),
    )


class SkipForm(TextForm):
    reason = forms.CharField(
        label=gettext_lazy("Why these stages are skipped"),
        max_length=1000,
        help_text=gettext_lazy("Stays with the case as a note."),
    )


class HoldForm(TextForm):
    reason = forms.CharField(
        label=gettext_lazy("Put on hold because"),
        max_length=200,
        error_messages={"required": gettext_lazy("Say why.")},
    )
    until = DayField(
        label=gettext_lazy("until"),
        required=False,
        years_back=0,
        help_text=gettext_lazy(
            "The last day of the hold; the day after the case is due again by itself. "
            "Empty: until somebody resumes it."
        ),
    )


class HandOverForm(TextForm):
    to = forms.ModelChoiceField(
        label=gettext_lazy("Hand over to"),
        queryset=active_assessors(),
        empty_label="–",
    )


class AttachmentForm(TextForm):
    file = forms.FileField(label=gettext_lazy("File"), max_length=200)

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(_("A file has at most 20 MB."))
        return file
