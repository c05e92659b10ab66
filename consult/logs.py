"""What the log must not hold: the tokens in addresses that open a letter, an account or a copy."""

import logging
import re

_TOKENS = re.compile(
    r"((?:/letters/link|/offers/link|/work-orders/link|/calendar/feed|/invitation|/data/copies|/uploads"
    r"|/password/reset/key|/confirm-email)/)"
    r"[^/\s'\"?&]+"
)


def without_tokens(text: str) -> str:
    """The text with an ellipsis in the place of each token of an address."""
    return _TOKENS.sub("\\1\u2026", text)


class TokenFilter(logging.Filter):
    """Takes tokens out of a line before a handler writes it."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg, record.args = without_tokens(record.getMessage()), None
        return True
