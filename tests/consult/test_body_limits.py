"""How much a request may bring: decided by its head, before anything of its body is read."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import get_resolver, reverse

from consult.access import MOST_BYTES_OF_A_PAGE, MOST_BYTES_OF_NOBODY, most_body_bytes
from tests.access.test_matrix import _patterns
from tests.cast import make_cast
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


class Unread(io.RawIOBase):
    """A body that says so when it is read."""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer) -> int:
        raise AssertionError("the body was read")


@pytest.mark.parametrize(
    "head",
    [
        {"CONTENT_LENGTH": "200000000"},
        {"CONTENT_LENGTH": str(MOST_BYTES_OF_NOBODY + 1)},
        {"CONTENT_LENGTH": "", "HTTP_TRANSFER_ENCODING": "chunked"},
        {"CONTENT_LENGTH": "-1"},
        {"CONTENT_LENGTH": "1e9"},
    ],
)
def test_what_nobody_may_send_is_not_read(client, head) -> None:
    posted = {"REQUEST_METHOD": "POST", "PATH_INFO": reverse("account_login")}
    answer = client.request(**posted, **{"wsgi.input": Unread()}, **head)
    assert answer.status_code == 413
    assert "larger than this page takes" in answer.content.decode()


def test_a_log_in_of_the_usual_size_goes_through(client) -> None:
    user = UserFactory(email="ada@example.org")
    user.set_password("a long enough phrase")
    user.save()
    sent = {"login": "ada@example.org", "password": "a long enough phrase"}
    assert client.post(reverse("account_login"), sent).status_code == 302
    fill = {"login": "x" * MOST_BYTES_OF_NOBODY, "password": "y"}
    client.logout()
    assert client.post(reverse("account_login"), fill).status_code == 413


def test_each_page_takes_as_much_as_it_declares(client) -> None:
    cast = make_cast()
    client.force_login(cast.people["office"])
    attach = reverse("file_attach", args=[cast.case.reference])
    picture = SimpleUploadedFile("a.txt", b"words\n" * 700_000)
    assert client.post(attach, {"file": picture}).status_code == 302
    assert (
        client.post(attach, {"file": SimpleUploadedFile("a.txt", bytes(21_000_000))}).status_code
        == 413
    )
    words = {"text": "x" * MOST_BYTES_OF_A_PAGE}
    page = client.post(reverse("note_add", args=[cast.case.reference]), words)
    assert page.status_code == 413 and "log-in has ended" not in page.content.decode()


def test_the_large_pages_are_those_that_take_files() -> None:
    def most(name: str, *args: str) -> int:
        return most_body_bytes(reverse(name, args=args), is_logged_in=True)

    assert most("upload") == most("file_attach", "EB-1") == 20_100_000
    assert most("letter_check_file") == 5_100_000
    assert most("note_add", "EB-1") == most("practice") == 3_000_000
    assert most_body_bytes("/no/such/page/", is_logged_in=True) == MOST_BYTES_OF_NOBODY
    assert most_body_bytes(reverse("upload"), is_logged_in=False) == MOST_BYTES_OF_NOBODY
    # The one page that takes files from nobody.
    from_anybody = [
        page.name
        for page in _patterns(get_resolver())
        if getattr(page.callback, "takes_from_anybody", False)
    ]
    assert from_anybody == ["letter_check_file"]
    assert most_body_bytes(reverse("letter_check_file"), is_logged_in=False) == 5_100_000


def test_no_role_gets_past_it(client) -> None:
    sent = {"folder": SimpleUploadedFile("a.zip", bytes(20_100_001))}
    for person in make_cast().people.values():
        client.force_login(person)
        sent["folder"].seek(0)
        assert client.post(reverse("upload"), sent).status_code == 413
