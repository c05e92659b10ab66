"""Days that people type."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

ISO = "%Y-%m-%d"


class DayField(forms.DateField):
    """A day whose year is no slip of the finger, as `0026` or `2062` would be."""

    default_error_messages = {"far": _("This day is too far from today. Is the year right?")}

    def __init__(self, *, years_back: int = 60, years_ahead: int = 3, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput({"type": "date"}, ISO))
        super().__init__(**kwargs)
        self.years_back, self.years_ahead = years_back, years_ahead

    def clean(self, value: Any) -> Any:
        day = super().clean(value)
        year = timezone.localdate().year
        if day is not None and not year - self.years_back <= day.year <= year + self.years_ahead:
            raise forms.ValidationError(self.error_messages["far"])
        return day
