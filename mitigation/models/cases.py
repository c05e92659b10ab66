"""The case: the job of lowering the fields in one property."""

from collections.abc import Sequence
from datetime import date
from typing import Self

from django.db import connection, models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import MedicalDevice, Property, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.stages import ENDS, Stage
from mitigation.models.words import query_words
from surveys.models import Guideline, SourceFile, Visit
from surveys.models.names import FoldedField, folded
from surveys.models.references import LONGEST_REFERENCE, validate_reference

# A word with at most this many entries gives its cases, and each is asked for the other words.
# Above, it is cheaper to ask one case after the other for all words.
MOST_ENTRIES_OF_RARE = (20, 2_000)
# Never reached by a rare word. With a limit PostgreSQL plans the words by themselves, and so joins
# sets of entries; without, it fetches each case first and probes the index for it word by word.
MOST_ENTRIES_FETCHED = 100_000


class CaseQuerySet(AtPropertyQuerySet["Case"]):
    def seen_by_client(self, user: User) -> Self:
        return self.filter(property__client__user=user)

    def for_list(self) -> Self:
        """One query for a list: property, client and guideline."""
        return self.select_related("property__client", "guideline")

    def with_ask_first(self) -> Self:
        """Whether somebody in the household depends on the supply, as `must_ask`."""
        devices = MedicalDevice.objects.current().filter(property=models.OuterRef("property"))
        return self.annotate(must_ask=models.Exists(devices))

    def under_way(self) -> Self:
        """Cases at a stage that somebody has to move on."""
        return self.filter(stage__in=[stage for stage in Stage if stage not in ENDS])

    def due(self, today: date) -> Self:
        """Cases that should have moved on by `today`; those on hold are left in peace."""
        # Put so, the index of days serves, and not the one of stages.
        return self.filter(due_on__lte=today, on_hold_reason="").exclude(stage__in=ENDS)

    def held(self) -> Self:
        """Cases that rest until somebody resumes them."""
        return self.exclude(on_hold_reason="")

    def matching(self, query: str) -> Self:
        """Cases with a word of reference, client, address or spot for each word of `query`.

        A word is matched from its beginning, through the index of `CaseWord`. A rare word gives the
        cases, and its entries are asked for the other words before any case is fetched. Where every
        word is frequent the cases are asked one by one in their own order, so that the first page
        is soon full.
        """
        words = query_words(query)
        rare = CaseWord.objects.first_rare(words)
        if rare is None:
            return self.filter(
                *(CaseWord.objects.has(word, models.OuterRef("pk")) for word in words)
            )
        others = (word for word in words if word != rare)
        entries = CaseWord.objects.beginning(rare).filter(
            *(CaseWord.objects.has(word, models.OuterRef("case")) for word in others)
        )
        return self.filter(pk__in=entries.values("case")[:MOST_ENTRIES_FETCHED])


class Case(PlainTexts):
    reference = models.CharField(
        _("reference"),
        max_length=LONGEST_REFERENCE,
        unique=True,
        validators=[validate_reference],
    )
    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="cases")
    guideline = models.ForeignKey(
        Guideline, on_delete=models.PROTECT, related_name="cases", verbose_name=_("Guideline")
    )
    target_band = models.PositiveSmallIntegerField(
        _("target band"), default=2, choices=[(1, "1"), (2, "2")]
    )
    placement_percent = models.FloatField(_("placement uncertainty"), default=5.0)
    stage = models.CharField(
        _("Stage"), max_length=10, choices=Stage.choices, default=Stage.ENQUIRY
    )
    stage_since = models.DateTimeField()
    round = models.PositiveSmallIntegerField(_("round"), default=1)
    due_on = models.DateField(_("due on"), null=True, blank=True)
    on_hold_reason = models.CharField(_("on hold because"), max_length=200, blank=True)
    on_hold_until = models.DateField(_("on hold until"), null=True, blank=True)
    opened_at = models.DateTimeField()
    source = models.ForeignKey(
        SourceFile, null=True, blank=True, on_delete=models.PROTECT, related_name="cases"
    )
    visits = models.ManyToManyField(Visit, through="CaseVisit", related_name="cases")
    must_ask: bool  # of rows `with_ask_first`
    history = HistoricalRecords()

    objects = CaseQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(target_band__in=[1, 2]), name="case_target_is_band_1_or_2"
            ),
            models.CheckConstraint(
                condition=models.Q(placement_percent__gte=0, placement_percent__lte=100),
                name="case_placement_is_a_percentage",
            ),
            models.CheckConstraint(
                condition=models.Q(stage__in=Stage.values), name="case_stage_is_known"
            ),
            models.CheckConstraint(condition=models.Q(round__gte=1), name="case_round_is_counted"),
            models.CheckConstraint(
                condition=models.Q(on_hold_until=None) | ~models.Q(on_hold_reason=""),
                name="case_on_hold_until_a_day_has_a_reason",
            ),
        ]
        indexes = [
            models.Index(fields=["-opened_at", "-id"], name="case_newest_first"),
            # The desk counts by stage, and lists what is due, from these alone.
            models.Index(fields=["stage", "due_on", "on_hold_reason"], name="case_stage_due_held"),
            models.Index(fields=["due_on", "id"], name="case_due_first"),
            models.Index(fields=["stage", "-opened_at", "-id"], name="case_stage_newest"),
        ]

    def __str__(self) -> str:
        return self.reference


class FormerReferenceQuerySet(AtPropertyQuerySet["FormerReference"]):
    property_ref = "case__property"

    def named(self, reference: str) -> Self:
        """Rows of that reference, whatever its case and blanks."""
        return self.filter(folded=folded(reference))


class FormerReference(PlainTexts):
    """A reference that a case had before; letters print it, and no other case gets it."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="former_references")
    reference = models.CharField(_("reference"), max_length=LONGEST_REFERENCE, unique=True)
    folded = FoldedField(of="reference", max_length=3 * LONGEST_REFERENCE, db_index=True)

    objects = FormerReferenceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.reference


class CaseVisit(models.Model):
    """A visit that belongs to a case, in one of its rounds."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="case_visits")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="case_visits")
    round = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["case", "round", "visit__date"]
        constraints = [
            models.UniqueConstraint(fields=["case", "visit"], name="visit_is_once_in_a_case"),
        ]

    def __str__(self) -> str:
        return f"{self.visit} in {self.case}"


class CaseWordQuerySet(models.QuerySet["CaseWord"]):
    def first_rare(self, words: Sequence[str]) -> str | None:
        """The first of `words` that very few entries begin with, else few; one query, soon done."""
        steps = [(most, word) for most in MOST_ENTRIES_OF_RARE for word in words]
        if not steps:
            return None
        whens = [
            models.When(~models.Exists(self.beginning(word)[most:]), then=models.Value(word))
            for most, word in steps
        ]  # one after the other, until one holds
        return self.order_by().values_list(models.Case(*whens), flat=True).first()

    def has(self, word: str, case: models.OuterRef) -> models.Exists:
        """Whether the case of the outer query has a word that begins so."""
        return models.Exists(self.beginning(word).filter(case=case))

    def beginning(self, word: str) -> Self:
        """Words that begin so, found through the index of either database."""
        if connection.vendor == "sqlite":
            # its index serves ranges, not LIKE; words are compared by their code points
            return self.filter(word__gte=word, word__lt=word + chr(0x10FFFF))
        return self.filter(word__startswith=word)


class CaseWord(models.Model):
    """A word of a case's reference, client, address or spots; made anew, never edited."""

    case = models.ForeignKey(
        Case, on_delete=models.CASCADE, related_name="words", db_index=False
    )  # the index of the constraint below serves
    word = models.CharField(max_length=40)

    objects = CaseWordQuerySet.as_manager()

    class Meta:
        constraints = [
            # On PostgreSQL an index serves the beginnings of words by these classes alone.
            models.UniqueConstraint(
                fields=["case", "word"],
                name="word_is_once_in_a_case",
                opclasses=["int8_ops", "varchar_pattern_ops"],
            ),
        ]
        indexes = [
            models.Index(
                fields=["word", "case"],
                name="case_word_beginning",
                opclasses=["varchar_pattern_ops", "int8_ops"],
            ),
        ]

    def __str__(self) -> str:
        return self.word
