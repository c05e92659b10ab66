"""What a form calls a field of a model: the model says it."""

from typing import Any

from django.db import models


def label_of(model: type[models.Model], name: str) -> Any:
    """The name of a field in the reader's language, looked up when it is shown."""
    field: Any = model._meta.get_field(name)
    return field.verbose_name
