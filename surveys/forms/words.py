"""The assessor's own words: of each place, of the whole, and what they recommend."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.labels import label_of
from surveys.forms.visits import EntryForm
from surveys.models import AssessorWords, PlaceRemark, Spot

REMARK = "remark_"


class WordsForm(EntryForm):
    summary = forms.CharField(
        label=label_of(AssessorWords, "summary"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 4}),
        help_text=_("It stands on page one of the letter, below its first sentence."),
    )
    recommendations = forms.CharField(
        label=label_of(AssessorWords, "recommendations"),
        max_length=4_000,
        required=False,
        widget=forms.Textarea({"rows": 4}),
        help_text=_("One a line. The letter marks them as an opinion, with your name."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, spots: Iterable[Spot], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for spot in spots:
            self.fields[f"{REMARK}{spot.pk}"] = forms.CharField(
                label=str(spot),
                max_length=PlaceRemark._meta.get_field("text").max_length,
                required=False,
                widget=forms.Textarea({"rows": 2}),
            )

    def remarks(self) -> dict[int, str]:
        """What was typed of each spot, by its key."""
        return {
            int(name.removeprefix(REMARK)): text
            for name, text in self.cleaned_data.items()
            if name.startswith(REMARK)
        }

    @staticmethod
    def initial_of(
        words: AssessorWords | None, remarks: Mapping[int, str], version: int
    ) -> dict[str, Any]:
        whole = {
            "summary": words.summary if words else "",
            "recommendations": words.recommendations if words else "",
            "version": version,
        }
        return whole | {f"{REMARK}{spot}": text for spot, text in remarks.items()}
