"""Guesses at a log-in or a letter: how many are let through, and against whom they count.

A stranger's guesses count for the name and address, for the name over all addresses, and for the
address. A device on which somebody has logged in before has a count of its own for that name, so
that no stranger can lock them out of it.
"""

import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from allauth.core.internal import ratelimit
from django.conf import settings
from django.core import signing
from django.core.cache.backends.db import DatabaseCache
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac

# allauth's notation: amount per duration, counted by IP address (IPv6 by /64) or by key.
LIMITS = {
    "address": "10/m/ip,100/d/ip",
    "name-and-address": "5/5m/key",
    "name": "20/d/key",
    "device": "5/5m/key,20/d/key",
    "letter-check": "10/m/ip,100/d/ip",
}
DEVICE = "consult.device"
DEVICE_HOLDS = timedelta(days=400)  # the longest that browsers keep a cookie
MOST_NAMES = 8


class LastingCache(DatabaseCache):
    """A cache in the database that drops expired rows alone, so that a flood evicts no count."""

    def _cull(self, db: str, cursor: Any, now: Any, num: int) -> None:
        super()._cull(db, cursor, now, 0)  # type: ignore[misc]  # not in the stubs


@dataclass(frozen=True)
class Guess:
    """One guess that was let through and counted."""

    counts: list[ratelimit.RateLimitUsage]

    def take_back(self) -> None:
        """The guess was right, so it counts no more."""
        for count in self.counts:
            count.rollback()


def count_guess(*, request: HttpRequest, what: str, email: str) -> Guess | None:
    """Count a guess at the password or code (`what`) of `email`; None where it is one too many."""
    guess = Guess([])
    for limit, key in _counters(request, what, email):
        count = ratelimit.consume(request, app="consult", action=limit, config=LIMITS, key=key)
        if count is None:
            return None
        guess.counts.append(count)
    return guess


def count_letter_check(*, request: HttpRequest) -> Guess | None:
    """Count a question whether a letter is one of ours; None where it is one too many."""
    count = ratelimit.consume(request, app="consult", action="letter-check", config=LIMITS)
    return Guess([count]) if count else None


def forget_guesses(*, request: HttpRequest, what: str, email: str) -> None:
    """Let somebody begin anew who proved otherwise who they are, by a mail for instance."""
    for limit, key in _counters(request, what, email):
        if limit != "address":
            ratelimit.clear(request, app="consult", action=limit, config=LIMITS, key=key)


def _counters(request: HttpRequest, what: str, email: str) -> list[tuple[str, str]]:
    name = f"{what}:{email.lower()}"
    device = _known_device(request, email)
    if device is not None:
        return [("device", f"{device}:{name}")]
    return [
        ("address", ""),
        ("name-and-address", f"{ratelimit.get_ip(request)}:{name}"),
        ("name", name),
    ]


def remember_device(*, request: HttpRequest, response: HttpResponse, email: str) -> None:
    """Mark the browser as one on which `email` has logged in, beside others who did so before."""
    device = _device_of(request)
    name = _hashed(email)
    names = [name, *(other for other in device["names"] if other != name)][:MOST_NAMES]
    response.set_cookie(
        settings.DEVICE_COOKIE_NAME,
        signing.dumps({"id": device["id"], "names": names}, salt=DEVICE),
        max_age=DEVICE_HOLDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _known_device(request: HttpRequest, email: str) -> str | None:
    device = _device_of(request)
    return str(device["id"]) if _hashed(email) in device["names"] else None


def _device_of(request: HttpRequest) -> dict[str, Any]:
    cookie = request.COOKIES.get(settings.DEVICE_COOKIE_NAME, "")
    try:
        device: dict[str, Any] = signing.loads(cookie, salt=DEVICE, max_age=DEVICE_HOLDS)
    except signing.BadSignature:
        device = {"id": secrets.token_urlsafe(16), "names": []}
    return device


def _hashed(email: str) -> str:
    return salted_hmac(DEVICE, email.lower()).hexdigest()[:16]
