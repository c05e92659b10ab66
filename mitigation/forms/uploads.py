"""Files that people hand over."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from mitigation.models import Case, PendingUpload
from mitigation.models.cases import CaseQuerySet
from surveys.intake import Upload
from surveys.intake.sources import FILES, MEGABYTE, MOST_BYTES, pack_streams
from surveys.models.references import LONGEST_REFERENCE


class SeveralFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """One or more files; each is checked like a single one."""

    widget = SeveralFilesInput

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[Any]]":
        files = data if isinstance(data, list | tuple) else [data]
        return [super(SeveralFilesField, self).clean(file, initial) for file in files or [None]]


class CaseFolderForm(OnceForm):
    """A case folder: one zip or XLSX, or its plain files together."""

    folder = SeveralFilesField(
        label=gettext_lazy("Case folder"),
        help_text=gettext_lazy(
            "One zip or XLSX file, or the plain files of the folder together. At most 20 MB."
        ),
        widget=SeveralFilesInput(attrs={"accept": ".zip,.xlsx,.csv,.toml"}),
    )

    into = forms.CharField(
        label=gettext_lazy("Add further visits to case"),
        required=False,
        max_length=LONGEST_REFERENCE,
        help_text=gettext_lazy("The reference of a case that is there. Empty: a case of its own."),
    )

    def __init__(self, *args: Any, cases: CaseQuerySet | None = None, **kwargs: Any) -> None:
        """`cases` are those that the sender may add visits to."""
        super().__init__(*args, **kwargs)
        self.cases = cases

    def clean_into(self) -> Case | None:
        reference = self.cleaned_data["into"]
        if not reference:
            return None
        case = self.cases and self.cases.filter(reference=reference).first()
        if not case:
            raise forms.ValidationError(_("There is no case of this reference here."))
        return case

    def clean_folder(self) -> Upload:
        files: Sequence[UploadedFile[Any]] = self.cleaned_data["folder"]
        if len(files) > len(FILES):
            raise forms.ValidationError(_("A case folder has at most five files."))
        size = sum(file.size or 0 for file in files)
        if size > MOST_BYTES:
            raise forms.ValidationError(
                _("This is %(size)s MB. A case folder has at most %(most)s MB.")
                % {"size": -(-size // MEGABYTE), "most": MOST_BYTES // MEGABYTE}
            )
        names = [(file.name or "")[:200] for file in files]
        if len(files) == 1 and not names[0].casefold().endswith((".csv", ".toml")):
            return Upload(names[0], files[0].read())
        if len({name.casefold() for name in names}) < len(names):
            raise forms.ValidationError(_("Two of the files have the same name."))
        return Upload(", ".join(names)[:200], pack_streams(dict(zip(names, files, strict=True))))


class SeenForm(TextForm):
    """The button by which an owner confirms: how often the upload had come back by then."""

    seen = forms.IntegerField(required=False)


class DecisionForm(TextForm):
    """What the office says of an upload; the decision is the button that was pressed."""

    Decision = PendingUpload.Decision

    decision = forms.ChoiceField(
        choices=[(Decision.CONFIRMED, ""), (Decision.REFUSED, "")], widget=forms.HiddenInput
    )
    seen = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label=gettext_lazy("Reason"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Who uploaded it reads this. A refusal needs one."),
    )
