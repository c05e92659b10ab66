"""Names that people type: when two of them are the same."""

import unicodedata
from collections.abc import Sequence
from typing import Any

from django.db import models

LONGEST = 80
LONGEST_FOLDED = 3 * LONGEST  # folded, U+FB03 becomes three characters, and none becomes more


def folded(name: str) -> str:
    """What a name is apart from case, spaces and the form of its characters."""
    # Folding the case can take a text out of its normal form, so it is normalised again.
    plain = unicodedata.normalize("NFC", name).casefold()
    return " ".join(unicodedata.normalize("NFC", plain).split())


class FoldedField(models.CharField):  # type: ignore[type-arg]  # Django's own class takes none here
    """The folded form of another field, written with the row; SQLite folds no more than ASCII."""

    def __init__(self, *, of: str = "name", **kwargs: Any) -> None:
        kwargs |= {"blank": True, "default": "", "editable": False}
        self.of = of
        super().__init__(**kwargs)

    def deconstruct(self) -> tuple[str, str, Sequence[Any], dict[str, Any]]:
        name, path, args, kwargs = super().deconstruct()
        return name, path, args, kwargs | ({} if self.of == "name" else {"of": self.of})

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        value = folded(getattr(model_instance, self.of))
        setattr(model_instance, self.attname, value)
        return value
