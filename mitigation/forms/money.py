"""Amounts of money as people write them."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from consult.letters.formats import Formats
from mitigation.models.money import in_cents
from surveys.forms.fields import NumberField

MOST_MONEY = 99_999_999.0


class MoneyField(NumberField):
    """An amount of 0 or more in the currency of the practice; empty is None."""

    default_error_messages = {"too much": _("A price with fewer digits.")}

    def clean(self, value: Any) -> Decimal | None:
        amount: float | None = super().clean(value)
        if amount is not None and amount > MOST_MONEY:
            raise ValidationError(self.error_messages["too much"])
        return in_cents(amount)

    def prepare_value(self, value: Any) -> Any:
        """With its cents."""
        if isinstance(value, Decimal):
            return f"{value:.2f}".replace(".", Formats(get_language() or "en").decimal_mark)
        return super().prepare_value(value)
