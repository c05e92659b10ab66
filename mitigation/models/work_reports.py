"""Reports of a firm on its order: results, test values, photos; and what a client confirms."""

from typing import Self
from uuid import uuid4

from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy
from simple_history.models import HistoricalRecords

from consult.access import RoleScopedQuerySet
from consult.models import Firm, Letter, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.attachments import Attachment
from mitigation.models.cases import Case
from mitigation.models.work_orders import WorkItem, WorkOrder


class WorkReportQuerySet(AtPropertyQuerySet["WorkReport"]):
    property_ref = "order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm."""
        return self.filter(order__firm=user.firm_id)

    def signed(self) -> Self:
        """Those that somebody signed off; nothing in them changes any more."""
        return self.exclude(signed_at=None)


class WorkReport(PlainTexts):
    """A version of the firm's report: half a one is kept, and after its signature it stays.

    What is put right after that is another version, which says why.
    """

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="reports")
    number = models.PositiveIntegerField()
    began_at = models.DateTimeField()
    began_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    reason = models.CharField(_("why there is another version"), max_length=500, blank=True)
    remark = models.TextField(_("Remark"), max_length=2_000, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    signed_name = models.CharField(_("Who did it"), max_length=120, blank=True)
    licence = models.CharField(_("Licence"), max_length=80, blank=True)
    order_sha256 = models.CharField(max_length=64, blank=True)  # of the sheet that was shown
    letter = models.OneToOneField(
        Letter, null=True, blank=True, on_delete=models.PROTECT, related_name="work_report"
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    returned_at = models.DateTimeField(null=True, blank=True)
    returned_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    return_reason = models.CharField(max_length=500, blank=True)

    objects = WorkReportQuerySet.as_manager()

    class Meta:
        ordering = ["order", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["order", "number"], name="report_number_is_unique"),
            models.UniqueConstraint(
                fields=["order"],
                condition=models.Q(signed_at=None),
                name="one_unsigned_report_per_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order}, {self.number}"


class WorkResultQuerySet(AtPropertyQuerySet["WorkResult"]):
    property_ref = "report__order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm."""
        return self.filter(report__order__firm=user.firm_id)


class WorkResult(PlainTexts):
    """How one item ended, in the firm's words."""

    class Result(models.TextChoices):
        DONE = "done", pgettext_lazy("an item", "done")
        DIFFERENTLY = "done differently", _("done differently")
        NOT_POSSIBLE = "not possible", _("not possible")

    report = models.ForeignKey(WorkReport, on_delete=models.CASCADE, related_name="results")
    work_item = models.ForeignKey(WorkItem, on_delete=models.CASCADE, related_name="results")
    result = models.CharField(_("How it ended"), max_length=16, choices=Result.choices)
    done_on = models.DateField(_("Done on"), null=True, blank=True)
    words = models.TextField(_("How, or why not"), max_length=2_000, blank=True)
    history = HistoricalRecords()

    objects = WorkResultQuerySet.as_manager()

    class Meta:
        ordering = ["report", "work_item__position"]
        constraints = [
            models.UniqueConstraint(
                fields=["report", "work_item"], name="result_is_once_in_a_report"
            ),
            models.CheckConstraint(
                condition=models.Q(result__in=["done", "done differently", "not possible"]),
                name="result_is_known",
            ),
            models.CheckConstraint(
                condition=models.Q(result="not possible", done_on__isnull=True)
                | (~models.Q(result="not possible") & models.Q(done_on__isnull=False)),
                name="what_was_done_has_its_day",
            ),
            models.CheckConstraint(
                condition=models.Q(result="done") | ~models.Q(words=""),
                name="other_results_have_their_words",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_item}: {self.get_result_display()}"


class TestInstrumentQuerySet(RoleScopedQuerySet["TestInstrument"]):
    def seen_by_electrician(self, user: User) -> Self:
        return self.filter(firm=user.firm_id)


class TestInstrument(PlainTexts):
    """A firm's own instrument for its tests, with the day until which its calibration holds."""

    __test__ = False  # no test of ours, though its name begins so

    firm = models.ForeignKey(Firm, on_delete=models.CASCADE, related_name="test_instruments")
    name = models.CharField(_("Test instrument"), max_length=80)
    serial = models.CharField(_("Serial number"), max_length=60, blank=True)
    calibrated_until = models.DateField(_("Calibration holds until"), null=True, blank=True)
    history = HistoricalRecords()

    objects = TestInstrumentQuerySet.as_manager()

    class Meta:
        ordering = ["firm", "name", "serial"]
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "name", "serial"], name="test_instrument_is_once_at_a_firm"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.serial})" if self.serial else self.name


class TestValueQuerySet(AtPropertyQuerySet["TestValue"]):
    property_ref = "report__order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm."""
        return self.filter(report__order__firm=user.firm_id)


class TestValue(PlainTexts):
    """A test with what the tester showed; never corrected by anybody but its author."""

    __test__ = False  # no test of ours, though its name begins so

    report = models.ForeignKey(WorkReport, on_delete=models.CASCADE, related_name="values")
    work_item = models.ForeignKey(WorkItem, on_delete=models.CASCADE, related_name="values")
    test = models.CharField(_("Test"), max_length=24)  # a code of calc.electrical_tests
    about = models.CharField(_("Circuit or point"), max_length=120, blank=True)
    value = models.FloatField(
        _("Value"), null=True, blank=True, validators=[MinValueValidator(0.0)]
    )
    qualifier = models.CharField(max_length=1, blank=True)
    passed = models.BooleanField(_("In order"), null=True, blank=True)  # of a test without a unit
    test_voltage_v = models.FloatField(
        _("Test voltage [V dc]"), null=True, blank=True, validators=[MinValueValidator(0.0)]
    )
    device = models.CharField(_("Type of the device"), max_length=9, blank=True)
    rated_ma = models.FloatField(
        _("Rated residual current [mA]"),
        null=True,
        blank=True,
        validators=[MinValueValidator(0.0)],
    )
    instrument = models.ForeignKey(
        TestInstrument,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="values",
        verbose_name=_("Test instrument"),
    )
    remark = models.CharField(_("Remark"), max_length=500, blank=True)
    is_missed = models.BooleanField(default=False)  # it does not keep the limit of its day
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)

    objects = TestValueQuerySet.as_manager()

    class Meta:
        ordering = ["report", "work_item__position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(value__isnull=False, passed__isnull=True)
                | models.Q(value__isnull=True, passed__isnull=False),
                name="test_has_a_value_or_passes",
            ),
            models.CheckConstraint(
                condition=models.Q(qualifier__in=["", "<", ">"]),
                name="test_qualifier_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_item}: {self.test}"


class WorkPhotoQuerySet(AtPropertyQuerySet["WorkPhoto"]):
    property_ref = "report__order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm's reports."""
        return self.filter(report__order__firm=user.firm_id)


class WorkPhoto(models.Model):
    """A photo in a report: a file of the case that the firm sees, too."""

    report = models.ForeignKey(WorkReport, on_delete=models.CASCADE, related_name="photos")
    work_item = models.ForeignKey(
        WorkItem, null=True, blank=True, on_delete=models.CASCADE, related_name="photos"
    )
    attachment = models.ForeignKey(Attachment, on_delete=models.CASCADE, related_name="work_photos")

    objects = WorkPhotoQuerySet.as_manager()

    class Meta:
        ordering = ["report", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["report", "attachment"], name="photo_is_once_in_a_report"
            ),
        ]

    def __str__(self) -> str:
        return str(self.attachment)


class WorksConfirmationQuerySet(AtPropertyQuerySet["WorksConfirmation"]):
    property_ref = "case__property"


class WorksConfirmation(PlainTexts):
    """A client says that works are done: their own, or what they saw of the firm's."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="confirmations")
    items = models.JSONField(default=list, blank=True)  # names of their own ones that are done
    name = models.CharField(_("name"), max_length=120)
    words = models.TextField(_("remark"), max_length=2_000, blank=True)
    confirmed_at = models.DateTimeField()
    confirmed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)

    objects = WorksConfirmationQuerySet.as_manager()

    class Meta:
        ordering = ["-confirmed_at"]

    def __str__(self) -> str:
        return f"{self.case}: {self.name}"
