"""Forms that enter something once."""

from uuid import UUID, uuid4

from django import forms
from django.http import HttpRequest


class OnceForm(forms.Form):
    """A form that enters once, however often it is sent: by its hidden key it is the same.

    By itself it is the key of a form that has nothing but a button. Whether what it would enter is
    there already (another row of that name) is the service's to say: it finds first what this
    very form made.
    """

    key = forms.UUIDField(widget=forms.HiddenInput, required=False, initial=uuid4)


def key_of(request: HttpRequest) -> UUID | None:
    """The key that came with a button."""
    form = OnceForm(request.POST)
    return form.cleaned_data["key"] if form.is_valid() else None
