"""Keys that a device can make, where the database has to make them."""

from typing import Any

from django.db import models


class RandomUid(models.Func):
    """A new key for each row of an UPDATE, by the database itself."""

    function = "gen_random_uuid"
    template = "%(function)s()"
    output_field = models.UUIDField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        sixteen = "randomblob(4)) || hex(randomblob(2)) || '4' || substr(hex(randomblob(2)), 2)"
        variant = "'a' || substr(hex(randomblob(2)), 2) || hex(randomblob(6)"
        return f"lower(hex({sixteen} || {variant}))", []
