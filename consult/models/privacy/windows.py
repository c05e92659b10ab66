"""The one way past the guards of what is never changed: a row that nobody can commit."""

from django.db import models


class ErasureWindow(models.Model):
    """While a transaction holds a row here, the guards let its statements through.

    The row refers to a row that cannot exist. Both databases look for that one at the commit and
    not before, so a window that is still open then takes its whole transaction back, and no other
    connection ever sees one. `consult.services.guards.unguarded` alone opens and closes it.
    """

    never = models.ForeignKey("self", on_delete=models.DO_NOTHING, related_name="+", default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(never=0, pk__gt=0), name="window_refers_to_nothing"
            ),
        ]

    def __str__(self) -> str:
        return f"window {self.pk}"
