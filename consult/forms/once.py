"""Forms that enter something once."""

from uuid import UUID, uuid4

from django import forms
from django.http import HttpRequest

from consult.forms.texts import TextForm


class OnceForm(TextForm):
    """A form with a hidden key, by which the service enters it once however often it is sent.

    Used alone where a form is nothing but a button. Uniqueness (another row of that name) is
    checked by the service, which first looks for the row that this form made.
    """

    key = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid4)

    def renew_key(self) -> None:
        """Make a form that was sent another one, with all that was typed in it."""
        self.data = self.data.copy()  # type: ignore[attr-defined]  # what was sent is a QueryDict
        self.data[self.add_prefix("key")] = str(uuid4())  # type: ignore[index]  # as above


def key_of(request: HttpRequest) -> UUID | None:
    """The key that came with a button."""
    form = OnceForm(request.POST)
    return form.cleaned_data["key"] if form.is_valid() else None
