"""Calendar feeds: an address by which a person's own calendar program reads what they may see."""

from uuid import uuid4

from django.db import models

from consult.models import User


class CalendarFeed(models.Model):
    """The one feed of a person, as long as it is not withdrawn; another one has another `uid`."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="calendar_feed")
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return str(self.user)
