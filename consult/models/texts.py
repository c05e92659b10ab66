"""What a text may hold, wherever it comes from: a form, a file, another service."""

import unicodedata
from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

LINE_BREAKS = "\n\r\v\f\x1c\x1d\x1e\x85\u2028\u2029"


def is_control(character: str) -> bool:
    """True for what no text holds: control characters but line breaks and tabs, half a character.

    PostgreSQL keeps no zero byte, and no encoding has half of a surrogate pair.
    """
    return unicodedata.category(character) in ("Cc", "Cs") and character not in "\n\r\t"


def several_lines(text: str) -> None:
    """Refuse a text that holds control characters."""
    if not text.isprintable() and any(map(is_control, text)):
        raise ValidationError(_("Text without control characters."), code="control_characters")


def one_line(text: str) -> None:
    """Refuse a text that is no single line, and what `several_lines` refuses.

    A name with a line break in it would end the header of a mail, or the row of a list.
    """
    several_lines(text)
    if any(character in LINE_BREAKS for character in text):
        raise ValidationError(_("One line of text."), code="line_breaks")


def as_one_line(text: str) -> str:
    """The text with every run of spaces, line breaks and control characters as one space."""
    plain = (" " if is_control(character) else character for character in text)
    return " ".join("".join(plain).split())


class PlainTexts(models.Model):
    """A row whose short texts are one line each, and whose long ones hold no control characters."""

    class Meta:
        abstract = True

    def clean_fields(self, exclude: Collection[str] | None = None) -> None:
        errors: dict[str, list[ValidationError]] = {}
        for field in self._meta.concrete_fields:
            text = getattr(self, field.attname)
            if field.name in (exclude or ()) or not isinstance(text, str):
                continue
            try:
                (one_line if isinstance(field, models.CharField) else several_lines)(text)
            except ValidationError as error:
                errors[field.name] = [error]
        if errors:
            raise ValidationError(errors)
        super().clean_fields(exclude)
