"""The words by which a case is found."""

from django.db import models

from mitigation.models.cases import Case


class CaseWord(models.Model):
    """A word of a case's reference, client, address or spots; made anew, never edited."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="words")
    word = models.CharField(max_length=40, db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["case", "word"], name="word_is_once_in_a_case"),
        ]

    def __str__(self) -> str:
        return self.word
