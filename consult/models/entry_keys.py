"""What tells a form that was sent twice from two forms."""

from django.db import models


class EntryKey(models.Model):
    """A form that was entered: the digest of its hidden key and content, and the row it made."""

    NONE_YET = 0  # while its row is being made; nobody else ever sees it

    digest = models.CharField(max_length=64, unique=True)
    row = models.BigIntegerField()
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.digest[:12]
