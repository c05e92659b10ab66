"""The practice itself, the firms it works with, and everybody who logs in."""

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy
from simple_history.models import HistoricalRecords

from consult.models.texts import PlainTexts


class Practice(PlainTexts):
    """The consultancy whose name stands on the letters: one row."""

    name = models.CharField(_("name"), max_length=120)
    address = models.TextField(_("postal address"), blank=True)
    country = models.CharField(_("country"), max_length=2, default="DE")
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    website = models.CharField(_("Web site"), max_length=120, blank=True)
    signatory = models.CharField(
        _("Signatory"), max_length=120, blank=True, help_text=_("Who signs the letters.")
    )
    signatory_function = models.CharField(
        _("Function of the signatory"),
        max_length=120,
        blank=True,
        help_text=_("In which function they authorise letters, such as: head of measurement."),
    )
    currency = models.CharField(_("currency"), max_length=3, default="EUR")
    tax_line = models.CharField(
        _("line about taxes"),
        max_length=120,
        blank=True,
        help_text=_("Stands under the prices of a plan, such as: all prices include 19 % VAT."),
    )
    offer_days = models.PositiveSmallIntegerField(_("days for which an offer holds"), default=42)
    logo = models.BinaryField(null=True, blank=True)  # a small PNG, copied into each letter
    logo_sha256 = models.CharField(max_length=64, blank=True)
    second_factor_days = models.PositiveSmallIntegerField(
        _("Days that the office has to set up a second factor"),
        null=True,
        blank=True,
        default=14,
        help_text=_("Empty: nobody has to set one up."),
    )
    second_factor_since = models.DateField(default=timezone.localdate)
    # Which reminders go out by themselves.
    reminds_of_appointments = models.BooleanField(
        _("Remind firm and client of an appointment the day before"), default=True
    )
    reminds_of_silence = models.BooleanField(
        _("Remind who has not answered an order or proposed times"), default=True
    )
    reminds_of_measuring = models.BooleanField(
        _("Ask clients a year after the outcome letter whether to measure again"), default=True
    )
    history = HistoricalRecords(excluded_fields=["logo"])

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="practice_is_one_row"),
        ]

    def __str__(self) -> str:
        return self.name


def current_practice() -> Practice:
    """The practice that this site works for; an unsaved row until somebody enters it.

    The logo is read when it is asked for: every page and mail asks for the name alone.
    """
    return Practice.objects.defer("logo").first() or Practice(pk=1, country="")


class Firm(PlainTexts):
    """A contractor whose licensed electricians carry out the work."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    address = models.TextField(_("postal address"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    language = models.CharField(_("language"), max_length=5, default="en")
    trades = models.CharField(_("Trades"), max_length=120, blank=True)
    licence = models.CharField(_("Licence"), max_length=80, blank=True)
    licence_until = models.DateField(_("Licence holds until"), null=True, blank=True)
    insurance = models.CharField(_("Liability insurance"), max_length=120, blank=True)
    insurance_until = models.DateField(_("Insurance holds until"), null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(language__in=["en", "de"]), name="firm_language_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.full_clean()
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "User":
        fields |= {"role": User.Role.OFFICE, "is_manager": True, "is_superuser": True}
        return self.create_user(email, password, **fields)

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email__iexact=username)


class User(PlainTexts, AbstractBaseUser, PermissionsMixin):
    """Somebody who logs in, by e-mail, in one role."""

    class Role(models.TextChoices):
        OFFICE = "office", _("Office")
        ASSESSOR = "assessor", pgettext_lazy("role", "Assessor")
        ELECTRICIAN = "electrician", _("Electrician")
        CLIENT = "client", pgettext_lazy("role", "Client")

    email = models.EmailField(_("e-mail"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    role = models.CharField(_("role"), max_length=12, choices=Role.choices)
    is_manager = models.BooleanField(
        _("runs the practice"), default=False, help_text=_("May change people and registers.")
    )
    firm = models.ForeignKey(
        Firm,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="people",
        verbose_name=_("Firm"),
    )
    language = models.CharField(max_length=5, default="en")
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)
    history = HistoricalRecords(excluded_fields=["password", "last_login"])

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.UniqueConstraint(Lower("email"), name="one_user_per_email"),
            models.CheckConstraint(
                condition=~models.Q(role="electrician") | models.Q(firm__isnull=False),
                name="electrician_has_a_firm",
            ),
            models.CheckConstraint(
                condition=models.Q(is_manager=False) | models.Q(role="office"),
                name="manager_is_office",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.email

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Do not record last_login in the history; the access log has it."""
        if kwargs.get("update_fields") != ["last_login"]:
            super().save(*args, **kwargs)
            return
        self.skip_history_when_saving = True  # read by simple_history
        try:
            super().save(*args, **kwargs)
        finally:
            del self.skip_history_when_saving

    @property
    def is_staff(self) -> bool:
        """Only who runs the practice enters the admin."""
        return self.is_manager

    def get_short_name(self) -> str:
        return self.name
