"""Forms that ask about what is unlikely before it is entered; a tick says that it is meant."""

import hashlib
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.texts import TextForm

MEANT = "meant"
YES = _("Yes, I mean it")
# A question with the field at which it stands; None is on top of the form.
Question = tuple[str | None, str]


class UntickedInput(forms.CheckboxInput):
    """A tick that nobody set yet, whatever was ticked for another question."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> bool:
        return False


class AskingForm(TextForm):
    """A form that comes back with its questions, until the tick that answers just these is set.

    The tick is there once something is asked. It carries what it answers, so that a tick for one
    question is none for another.
    """

    def questions(self) -> Sequence[Question]:
        """What to ask about a form that is right as such."""
        return []

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]  # Django's own, which its stubs leave out
        self.fields.pop(MEANT, None)
        questions = [] if self.errors else self.questions()
        if questions:
            words = "\n".join(question for _name, question in questions)
            answer = hashlib.sha256(words.encode()).hexdigest()[:16]
            if self.answer != answer:
                self.ask(questions, answer)

    @property
    def answer(self) -> str:
        """What the tick that was sent answers; empty without one."""
        return str(self.data.get(self.add_prefix(MEANT)) or "")

    def ask(self, questions: Sequence[Question], answer: str, label: Any = YES) -> None:
        """Send the form back with `questions` and a tick that stands for `answer`."""
        for name, question in questions:
            self.add_error(name, question)
        self.fields[MEANT] = forms.BooleanField(
            label=label, required=False, widget=UntickedInput({"value": answer})
        )
