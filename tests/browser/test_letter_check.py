"""A letter in somebody's hands: the QR code fills in, and the reader sends."""

import pytest
from playwright.sync_api import expect

from consult.letters.checking import filled_in
from consult.services.letters import open_letter
from tests.cast import make_cast
from tests.factories import ready_letter

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ISSUED = "This letter was issued here, and no later letter corrects it."


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (360, "dark")])
def test_the_qr_code_fills_in_and_the_reader_sends(width, scheme, visitors) -> None:
    letter = ready_letter(make_cast().case)
    stranger = visitors.enter(width=width, scheme=scheme)
    page = stranger.page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(f"{request.url} {request.headers}"))
    stranger.open(filled_in("/check/", letter.number, letter.check_code))
    expect(page.get_by_label("Number of the letter")).to_have_value(letter.number)
    expect(page.get_by_label("Code")).to_have_value(letter.check_code)
    assert page.url.endswith("/check/")  # nothing of it stays in the address
    expect(page.get_by_text(ISSUED)).to_have_count(0)
    stranger.look_over("check a letter")
    stranger.press("Check number and code")
    expect(page.get_by_text(ISSUED)).to_be_visible()
    stranger.look_over("a letter checked")
    assert asked and not any(letter.check_code in line for line in asked)
    assert not stranger.broken


@pytest.mark.parametrize("width", [1280, 360])
def test_the_file_is_checked(width, visitors) -> None:
    letter = ready_letter(make_cast().case)
    with open_letter(letter) as file:
        data = file.read()
    stranger = visitors.enter(width=width)
    page = stranger.page
    stranger.open("/check/")
    sent = {"name": "letter.pdf", "mimeType": "application/pdf", "buffer": data}
    page.get_by_label("PDF file of the letter").set_input_files(sent)
    stranger.press("Check the file")
    expect(page.get_by_text(ISSUED)).to_be_visible()
    expect(page.get_by_text(letter.sha256)).to_be_visible()
    page.get_by_label("PDF file of the letter").set_input_files(sent | {"buffer": data + b" "})
    stranger.press("Check the file")
    expect(page.get_by_text("This file is not that of a letter")).to_be_visible()
    stranger.look_over("a file that is not ours")
    assert not stranger.broken


def test_german_fits_a_phone(visitors) -> None:
    letter = ready_letter(make_cast().case)
    stranger = visitors.enter(width=360)
    stranger.page.set_extra_http_headers({"Accept-Language": "de"})
    stranger.open(filled_in("/check/", letter.number, letter.check_code))
    stranger.press("Nummer und Code prüfen")
    verdict = stranger.page.get_by_text("Dieses Schreiben wurde hier ausgestellt, und kein")
    expect(verdict).to_be_visible()
    stranger.look_over("a letter checked in German")
    assert not stranger.broken
