"""What people type: one line where the field shows one, else several, and no control characters."""

from django import forms
from django.core.exceptions import ValidationError

from consult.models.texts import one_line, several_lines


class TextForm(forms.Form):
    """A form whose texts keep to the rule of `consult/models/texts.py`; all of ours are."""

    def full_clean(self) -> None:
        for field in self.fields.values():
            if isinstance(field, forms.CharField) and not isinstance(field, forms.UUIDField):
                long = isinstance(field.widget, forms.Textarea)
                rule = several_lines if long else one_line
                if rule not in field.validators:
                    field.validators.append(rule)
        super().full_clean()


def refuse_wrong(form: forms.BaseForm) -> None:
    """ValidationError with all that is wrong in a form whose page shows it as a message."""
    if not form.is_valid():
        raise ValidationError([words for errors in form.errors.values() for words in errors])
