"""Kept files: what is known of each, beside the bytes themselves."""

from django.db import models


class StoredFile(models.Model):
    """One file that the site keeps: its key in the storage, and the size and digest of its bytes.

    Its row is written with the row that it belongs to, which also says who may see it. A file from
    before whose bytes were gone when it got its row has no digest, and is never handed out.
    """

    file = models.FileField(max_length=200, unique=True)
    kind = models.CharField(max_length=80)  # its media type, told by its content
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64, blank=True)
    stored_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.key

    @property
    def key(self) -> str:
        """Where the storage has it."""
        return str(self.file)
