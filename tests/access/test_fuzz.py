"""Thousands of requests: every URL, role and method; none breaks a page, shows or changes too much.

A seeded sample runs with the tests, all of them by `make fuzz`.
"""

import logging
import os
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client as Browser
from django.urls import NoReverseMatch, reverse

from consult.models import Client, Property, User
from mitigation.models import Case
from tests.access.test_matrix import MATRIX, _filled
from tests.cast import ASKERS, Cast, make_cast
from tests.factories import compared_case

pytestmark = pytest.mark.django_db
SEED = 20261128
SAMPLE = 4_000
METHODS = ("get", "head", "post", "put", "patch", "delete", "options")
# Rows of the case that the cast is around, rows of a case that only the office sees, and none.
ROWS = ("its", "foreign", "none")
OF_THE_OFFICE = ("manager", "office")
REFUSED = (302, 400, 403, 404, 405, 410, 413, 429)
# What a refusal may write: who came, who was refused, how often.
TRACES = re.compile(r'"(django_session|consult_accessevent|shared_cache|usersessions_usersession)"')
WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)
WORDS = ("", "x", "1", "-1", "0", "2026-13-45", "<b>", "\u2028", "a\nb", "9" * 30, "true", "[]")
FIELDS = (
    "name", "email", "role", "text", "reason", "to", "kind", "seen", "version", "key", "reference",
    "language", "address", "day", "spot", "room", "measurand", "instrument", "total", "unit",
    "code", "password", "password1", "password2", "login", "next", "q", "page", "placement",
)  # fmt: skip
PLACES = set(re.findall(r"\{(\w+)\}", " ".join(str(row[1]) for row in MATRIX.values())))


@dataclass(frozen=True)
class Ask:
    """One request before its row is filled in."""

    name: str
    asker: str
    method: str
    rows: str

    def expected(self) -> str:
        """What the matrix says that the asker gets of the cast's own rows."""
        return MATRIX[self.name][2].split()[ASKERS.index(self.asker)]

    def may_not(self) -> bool:
        """Whether the asker is to be refused, whatever the method."""
        return (self.asker == "nobody" and self.expected() == "302") or self.expected() == "403"


def everything() -> list[Ask]:
    return [Ask(*parts) for parts in product(MATRIX, ASKERS, METHODS, ROWS)]


def sample() -> list[Ask]:
    """Each URL with each role and with each method, and others by chance up to the number."""
    dice = random.Random(SEED)
    asks = everything()
    dice.shuffle(asks)
    wanted: dict[Any, Ask] = {}
    for ask in asks:
        wanted.setdefault((ask.name, ask.asker), ask)
        wanted.setdefault((ask.name, ask.method), ask)
    chosen = dict.fromkeys(wanted.values())
    for ask in asks:
        if len(chosen) >= SAMPLE:
            break
        chosen.setdefault(ask)
    return list(chosen)


class Site:
    """The cast and its rows, a foreign case, and a browser of each asker."""

    def __init__(self) -> None:
        self.cast: Cast = make_cast()
        self.foreign: Case = compared_case()
        for case, word in ((self.cast.case, "Quellmark"), (self.foreign, "Fernmark")):
            Client.objects.filter(pk=case.property.client_id).update(name=f"{word} Client")
            Property.objects.filter(pk=case.property_id).update(address=f"{word} Lane 3")
        for case in (self.cast.case, self.foreign):
            case.property.refresh_from_db()
        every = {place: f"{{{place}}}" for place in PLACES}
        its = _filled(every, self.cast.case)
        shared = {"photograph", "upload", "for_office", "person", "firm"}
        own = {place: text for place, text in every.items() if place not in shared}
        stranger = User.objects.filter(role="assessor").latest("pk")
        foreign = its | _filled(own, self.foreign) | {"person": str(stranger.pk)}
        self.values = {"its": its, "foreign": foreign, "none": dict.fromkeys(PLACES, "0")}
        self.cookies = {}
        for asker in ASKERS:
            browser = Browser()
            self.cast.log_in(browser, asker)
            self.cookies[asker] = browser.cookies

    def url(self, ask: Ask) -> str | None:
        arguments = MATRIX[ask.name][1]
        values = self.values[ask.rows]
        try:
            return reverse(
                ask.name, kwargs={key: text.format(**values) for key, text in arguments.items()}
            )
        except NoReverseMatch:
            return None  # this URL takes no such row

    def answer(self, ask: Ask, url: str, dice: random.Random) -> tuple[Any, list[str]]:
        """The answer, and the statements that wrote; both are taken back afterwards."""
        browser = Browser()
        browser.cookies.load({name: kept.value for name, kept in self.cookies[ask.asker].items()})
        body = {name: dice.choice(WORDS) for name in dice.sample(FIELDS, 6)}
        written: list[str] = []

        def look(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
            if WRITES.match(sql) and not TRACES.search(sql):
                written.append(sql)
            return execute(sql, params, many, context)

        mark = transaction.savepoint()
        try:
            with connection.execute_wrapper(look):
                send = getattr(browser, ask.method)
                answer = send(url, body) if ask.method in ("get", "post", "head") else send(url)
        finally:
            transaction.savepoint_rollback(mark)
        return answer, written


def faults(site: Site, asks: list[Ask]) -> Iterator[str]:
    dice = random.Random(SEED)
    for ask in asks:
        url = site.url(ask)
        if url is None:
            continue
        try:
            answer, written = site.answer(ask, url, dice)
        except Exception as error:  # any at all is what is looked for
            yield f"{ask}: {error!r}"
            continue
        if answer.status_code >= 500:
            yield f"{ask}: {answer.status_code}"
        if (answer.status_code in REFUSED[1:] or ask.may_not()) and written:
            yield f"{ask}: refused with {answer.status_code}, and wrote {written[0][:80]}"
        if ask.may_not() and answer.status_code not in (*REFUSED, 200):
            yield f"{ask}: {answer.status_code} where the role has no business"
        if ask.may_not() and answer.status_code == 200 and ask.method != "options":
            yield f"{ask}: shown to a role that has no business"
        text = b"".join(answer) if answer.streaming else answer.content
        if ask.asker not in OF_THE_OFFICE and b"Fernmark" in text:
            yield f"{ask}: shows rows of a foreign case"
        if ask.asker in ("another assessor", "another client", "nobody") and b"Quellmark" in text:
            yield f"{ask}: shows rows of others"


def test_the_sample_covers_every_url_with_every_role_and_method() -> None:
    asks = sample()
    assert len(asks) == SAMPLE
    assert {(ask.name, ask.asker) for ask in asks} == set(product(MATRIX, ASKERS))
    assert {(ask.name, ask.method) for ask in asks} == set(product(MATRIX, METHODS))


@pytest.mark.long
def test_no_request_breaks_a_page_or_shows_or_changes_too_much(settings) -> None:
    asks = everything() if os.environ.get("FUZZ") == "all" else sample()
    settings.ACCOUNT_RATE_LIMITS = False  # not what is tried here
    logging.disable(logging.CRITICAL)
    try:
        found = list(faults(Site(), asks))
    finally:
        logging.disable(logging.NOTSET)
    assert not found, "\n".join(found[:40])
