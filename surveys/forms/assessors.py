"""Who measures: one of the practice's people, or somebody outside by their name."""

from typing import Any

from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from consult.models import User
from surveys.models.names import folded
from surveys.services.assessors import active_assessors


class AssessorField(forms.ModelChoiceField):  # type: ignore[type-arg]  # not subscriptable at run time
    """A choice of the practice's people who measure; what it offers is asked for by each form."""

    def __init__(self, **kwargs: Any) -> None:
        given: dict[str, Any] = {
            "queryset": User.objects.none(),
            "required": False,
            "empty_label": _("somebody outside the practice"),
            "help_text": _("Sees the property and all that hangs on it from now on."),
        }
        super().__init__(**(given | kwargs))


class OutsiderField(forms.CharField):
    """The name of somebody outside the practice."""

    def __init__(self, **kwargs: Any) -> None:
        given: dict[str, Any] = {
            "label": _("Name of somebody outside the practice"),
            "required": False,
            "max_length": 120,
            "help_text": _("They see nothing here."),
        }
        super().__init__(**(given | kwargs))


def offer_assessors(form: forms.Form, name: str) -> None:
    """The active ones, and whoever stands there already."""
    people = active_assessors()
    current = form.initial.get(name)
    if isinstance(current, User):
        people = User.objects.filter(Q(pk=current.pk) | Q(pk__in=people))
    form.fields[name].queryset = people.order_by("name", "pk")  # type: ignore[attr-defined]  # of its field class


def choose_or_name(form: forms.Form, choice: str, name: str) -> dict[str, Any]:
    """What was sent, refused where two people are named."""
    cleaned = form.cleaned_data
    person, typed = cleaned.get(choice), cleaned.get(name) or ""
    if person is not None and typed and folded(typed) != folded(person.name):
        form.add_error(name, _("Choose a person of the practice, or name somebody outside."))
    return cleaned
