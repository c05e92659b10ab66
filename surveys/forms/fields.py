"""Numbers as people write them, in their own decimal mark."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _

from consult.letters.formats import Formats
from surveys.intake.cells import NotAllowed, number_of

MARKS = ("<", ">")


def _read(word: str, says: str) -> float:
    comma = (get_language() or "en").startswith("de")
    group, mark = (".", ",") if comma else (",", ".")
    if re.fullmatch(rf"-?[1-9]\d{{0,2}}\{group}\d{{3}}", word, re.ASCII):
        # A page in this language itself writes thousands so: a thousandth would be taken.
        both = {"whole": word.replace(group, ""), "part": word.replace(group, mark)}
        raise NotAllowed(gettext("%(whole)s or %(part)s? Write which of them it is.") % both)
    return number_of(word, comma, says)


class NumberField(forms.CharField):
    """A number, with a decimal point or comma; empty is None."""

    default_error_messages = {
        "number": _("A number, such as 4.2."),
        "negative": _("A number of 0 or more."),
    }

    def __init__(
        self, *, may_be_negative: bool = False, placeholder: str = "", **kwargs: Any
    ) -> None:
        kwargs.setdefault("max_length", 40)
        super().__init__(**kwargs)
        self.may_be_negative = may_be_negative
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}
        if placeholder:
            self.widget.attrs["placeholder"] = placeholder

    def clean(self, value: Any) -> Any:
        word = super().clean(value)
        if not word:
            return None
        try:
            number = _read(word, str(self.error_messages["number"]))
        except NotAllowed as error:
            words = str(error)
            raise ValidationError(words[0].upper() + words[1:]) from error
        if number < 0 and not self.may_be_negative:
            raise ValidationError(self.error_messages["negative"])
        return number

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, float | int):
            plain = Formats(get_language() or "en").decimal_mark
            return f"{value:.15g}".replace(".", plain)
        return value


class MarkedNumberField(NumberField):
    """What a display shows: a number, or one behind < or >; cleans to the number and its mark."""

    default_error_messages = {"number": _("A number of 0 or more, such as 4.2, <0.3 or >2000.")}

    def clean(self, value: Any) -> tuple[float | None, str]:
        word = forms.CharField.clean(self, value)
        if not word:
            return None, ""
        mark = word[0] if word[0] in MARKS else ""
        return super().clean(word[len(mark) :].strip() or "?"), mark

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, tuple):
            number, mark = value
            return "" if number is None else f"{mark}{super().prepare_value(number)}"
        return value
