"""Forms of an appointment: proposed, answered, called off; what overlaps is asked about first."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.asking import AskingForm, Question
from consult.models import User
from mitigation.models import Appointment, WorkOrder
from mitigation.services.appointment_files import when_words
from surveys.forms.visits import EntryForm
from surveys.models import Visit

MOMENT = "%Y-%m-%dT%H:%M"
LENGTHS_MIN = (30, 60, 90, 120, 180, 240, 360, 480)
USUAL_MIN = 120
NONE_OF_THESE = "none"
TIMES = ("first", "second", "third")


def asked_of_time(
    order: WorkOrder, starts: datetime, length: timedelta, user: User | None
) -> Iterator[str]:
    """What overlaps with an appointment at a time, as far as `user` may know it.

    A firm without a log-in is `None`. Whose other appointment it is, is the office's to know.
    """
    ends, home = starts + length, order.case.property_id
    others = Appointment.objects.overlapping(starts, ends).exclude(order=order)
    when = when_words(starts, ends)
    is_office = user is not None and user.role == User.Role.OFFICE
    is_client = user is not None and user.role == User.Role.CLIENT
    for other in others.for_list().filter(order__case__property=home):
        who = other.order.firm.name if is_office or is_client else _("Somebody else")
        yield _("%(who)s is in this home at that time: %(when)s.") % {"who": who, "when": when}
    first, last = (timezone.localtime(moment).date() for moment in (starts, ends))
    for visit in Visit.objects.filter(property=home, date__gte=first, date__lte=last):
        words = _("On %(day)s there is a visit of the practice in this home (%(kind)s).")
        yield words % {"day": date_format(visit.date), "kind": visit.get_kind_display()}
    if is_client:
        return
    of_firm = others.for_list().filter(order__firm=order.firm_id)
    for other in of_firm.exclude(order__case__property=home):
        words = _("%(firm)s has another appointment at that time: order %(number)s of case "
                  "%(case)s.")  # fmt: skip
        yield words % {
            "firm": order.firm.name,
            "number": other.order.number,
            "case": other.order.case.reference,
        }


class MomentField(forms.DateTimeField):
    """A day and time, by the practice's zone."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs["widget"] = forms.DateTimeInput({"type": "datetime-local"}, MOMENT)
        super().__init__(input_formats=[MOMENT], **kwargs)


class ProposalForm(AskingForm, EntryForm):
    """One to three times, and who is to answer."""

    asked = forms.ChoiceField(
        label=gettext_lazy("Who answers"),
        choices=[
            (Appointment.Asked.FIRM, gettext_lazy("the firm: it chooses one of these times")),
            (Appointment.Asked.CLIENT, gettext_lazy("the client: they choose one of these times")),
            ("", gettext_lazy("nobody: firm and client have agreed on the first time")),
        ],
        required=False,
        initial=Appointment.Asked.FIRM,
    )
    first = MomentField(label=gettext_lazy("Day and time"))
    second = MomentField(label=gettext_lazy("or"), required=False)
    third = MomentField(label=gettext_lazy("or else"), required=False)
    minutes = forms.TypedChoiceField(
        label=gettext_lazy("How long [min]"),
        choices=[(minutes, minutes) for minutes in LENGTHS_MIN],
        coerce=int,
        initial=USUAL_MIN,
    )

    def __init__(self, *args: Any, order: WorkOrder, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order, self.by = order, by
        if by.role == User.Role.ELECTRICIAN:
            del self.fields["asked"]

    def starts(self) -> list[datetime]:
        """The times that were given."""
        return [moment for name in TIMES if (moment := self.cleaned_data.get(name))]

    def asked_side(self) -> str:
        return str(self.cleaned_data.get("asked", Appointment.Asked.CLIENT))

    def questions(self) -> list[Question]:
        length = timedelta(minutes=self.cleaned_data["minutes"])
        return [
            (name, words)
            for name in TIMES
            if (moment := self.cleaned_data.get(name))
            for words in asked_of_time(self.order, moment, length, self.by)
        ]


class AnswerForm(AskingForm, EntryForm):
    """Which of the proposed times suits, or none."""

    time = forms.ChoiceField(label=gettext_lazy("Which time suits?"), widget=forms.RadioSelect)
    name = forms.CharField(label=gettext_lazy("Your name"), max_length=120)
    reason = forms.CharField(
        label=gettext_lazy("If none suits: what would"), max_length=200, required=False
    )

    def __init__(
        self, *args: Any, appointment: Appointment, user: User | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.appointment, self.user = appointment, user
        length = appointment.length
        self.times = {str(time.pk): time.starts_at for time in appointment.times.all()}
        field = self.fields["time"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            *((key, when_words(at, at + length)) for key, at in self.times.items()),
            (NONE_OF_THESE, _("None of these")),
        ]

    def chosen(self) -> datetime | None:
        """The time that suits; nothing where none does."""
        return self.times.get(self.cleaned_data["time"])

    def questions(self) -> list[Question]:
        at = self.chosen()
        order = self.appointment.order
        length = self.appointment.length
        asked: Iterable[str] = asked_of_time(order, at, length, self.user) if at else ()
        return [("time", words) for words in asked]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("time") == NONE_OF_THESE and not cleaned.get("reason"):
            self.add_error("reason", ValidationError(_("Say what would suit.")))
        return cleaned


class AppointmentOffForm(EntryForm):
    reason = forms.CharField(
        label=gettext_lazy("Why it is called off"),
        max_length=200,
        help_text=gettext_lazy("The practice reads this; the other side is told the day alone."),
    )
