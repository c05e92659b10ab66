"""One form that is sent twice at the same instant, over two connections, makes one row."""

import pytest
from django.test import Client as Browser

from consult.models import EntryKey
from tests.cast import make_cast
from tests.entries import NAMES, entry
from tests.faults.test_sealing import _at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("name", NAMES)
def test_both_find_the_one_row(name):
    cast = make_cast()
    form = entry(name, cast)
    browsers = [Browser() for _hand in range(3)]
    for browser in browsers:
        cast.log_in(browser, form.by)
    before = form.model.objects.count()
    sent = [form.again() for _browser in browsers]
    answers = _at_once(
        *(
            lambda browser=browser, data=data: browser.post(form.url, data)
            for browser, data in zip(browsers, sent, strict=True)
        )
    )
    assert [answer.status_code for answer in answers] == [302] * 3
    assert len({answer["Location"] for answer in answers}) == 1
    assert form.model.objects.count() == before + 1
    assert EntryKey.objects.filter(row=EntryKey.NONE_YET).count() == 0
