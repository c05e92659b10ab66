"""The office proves a case: files in, numbers followed down, letters out, another round."""

import io
import zipfile
from pathlib import Path

import pytest
from django.conf import settings
from playwright.sync_api import expect

from consult.models import Letter
from mitigation.models import Case
from tests.browser.conftest import Mailbox
from tests.browser.visitor import Visitor
from tests.factories import UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FOLDER = Path(settings.BASE_DIR, "fixtures/demo/nordach-schlafzimmer")
CLIENT = "henrike.tamm@example.org"
LETTER_S = 30_000  # a real worker draws it, on a machine that does other things too


def zipped(changes: dict[str, tuple[str, str]] | None = None) -> dict[str, object]:
    """A demo case as a zip, with some cells of its files written otherwise."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for file in sorted(FOLDER.iterdir()):
            text = file.read_text(encoding="utf-8")
            old, new = (changes or {}).get(file.name, ("", ""))
            assert text.count(old) == 1 or not old
            archive.writestr(file.name, text.replace(old, new) if old else text)
    return {"name": "nordach.zip", "mimeType": "application/zip", "buffer": data.getvalue()}


WRONG = {
    "readings.csv": ("25,8;32,1;46,7;;V/m", "25,8;32,1;46,7;;Vpm"),
    "visits.csv": ("A1;baseline;2026-03-10", "A1;baseline;2026-13-10"),
    "instruments.csv": ("Probe M1;three-axis coil;magnetic flux density;3;nT;6",
                        "Probe M1;three-axis coil;magnetic flux density;3;nT;six"),
}  # fmt: skip


@pytest.mark.long
def test_from_a_case_folder_to_the_next_round(look, visitors, worker) -> None:
    visitor = visitors.enter(UserFactory(name="Maren Holt"), **look)
    visitor.open("/desk/")
    upload_wrong_files(visitor)
    upload_good_files(visitor)
    filter_the_comparison(visitor)
    follow_a_number_down(visitor)
    first = issue_the_letter(visitor)
    send_the_letter(visitor, worker)
    read_what_was_mailed(visitors.enter(**look), worker)
    correct_the_letter(visitor, first)
    begin_another_round(visitor)


def upload_wrong_files(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("Upload a case folder")
    visitor.look_over("an upload")
    page.get_by_label("Case folder").set_input_files(zipped(WRONG))
    visitor.press("Check the files")
    expect(page.get_by_role("heading", name="Not imported")).to_be_visible(timeout=LETTER_S)
    faults = page.get_by_role("alert").get_by_role("listitem")
    for file, row, column, cell in (
        ("readings.csv", "2", "unit", "Vpm"),
        ("visits.csv", "2", "date", "2026-13-10"),
        ("instruments.csv", "3", "gain_percent", "six"),
    ):
        fault = faults.filter(has_text=file).filter(has_text=column)
        expect(fault).to_contain_text(cell)
        expect(fault).to_contain_text(row)
        expect(page.get_by_role("cell").filter(has_text=cell).first).to_contain_text("allowed:")
    visitor.look_over("an upload with wrong cells")
    assert not Case.objects.exists()


def upload_good_files(visitor: Visitor) -> None:
    page = visitor.page
    page.get_by_label("Case folder").set_input_files(zipped())
    visitor.press("Check the corrected files")
    expect(page.get_by_role("heading", name="Ready to import")).to_be_visible(timeout=LETTER_S)
    expect(page.get_by_role("definition").filter(has_text="Henrike Tamm")).to_be_visible()
    visitor.look_over("an upload to confirm")
    visitor.press("Import this case")
    heading = page.get_by_role("heading", name="2026-011")
    done = page.get_by_role("link", name="Open the case")
    expect(done.or_(heading)).to_be_visible(timeout=LETTER_S)
    if done.is_visible():  # a worker imports it, and the page says when it is in
        visitor.look_over("an upload that is in")
        done.click()
    expect(page.get_by_role("heading", name="2026-011")).to_be_visible()
    visitor.look_over("a proved case")


def filter_the_comparison(visitor: Visitor) -> None:
    page = visitor.page
    rows = page.get_by_role("region", name="Comparison").get_by_role("row")
    everything = rows.count()
    assert everything > 10
    visitor.mark()
    page.get_by_role("combobox", name="Room").select_option("Kinderzimmer")
    expect(rows.filter(has_text="Sofa")).to_have_count(0)
    page.get_by_role("combobox", name="Quantity").select_option("magnetic-flux-density")
    # Bed head and desk in that room, and the head of the table.
    expect(rows).to_have_count(3)
    expect(page.get_by_text("2 of ", exact=False).first).to_be_visible()
    assert visitor.is_marked()
    page.get_by_role("combobox", name="Room").select_option("")
    page.get_by_role("combobox", name="Quantity").select_option("")
    expect(rows).to_have_count(everything)


def follow_a_number_down(visitor: Visitor) -> None:
    """Before, left side of the bed: 25.8, 32.1 and 46.7 V/m come to sqrt(3876.94) = 62.27.

    After, 0.7, 1.0 and 0.9 V/m come to sqrt(2.30) = 1.517.
    """
    page = visitor.page
    row = page.get_by_role("row").filter(has_text="Bett links, Kopf").filter(has_text="V/m")
    row.get_by_role("link").first.click()
    main = page.get_by_role("main")
    for words in ("√(25.8² + 32.1² + 46.7²) = 62.27 V/m", "A/B = 1.517/62.27", "E < T − w: met"):
        expect(main).to_contain_text(words)
    visitor.look_over("a row of the comparison with its sums")
    stands = page.get_by_role("row").filter(has_text="it stands for the spot").first
    stands.get_by_role("link").first.click()
    for words in ("On the display", "46.7 V/m", "62", "Meter G1", "C-4417", "SBM-2015"):
        expect(main).to_contain_text(words)
    for rule in ("resultant-1", "uncertainty-1", "highest-2"):
        expect(page.get_by_role("term").filter(has_text=rule)).to_be_visible()
    visitor.look_over("a reading followed down")
    visitor.follow("Meter G1")
    certificates = page.get_by_role("region", name="Certificates")
    expect(certificates.get_by_role("row").filter(has_text="C-4417")).to_be_visible()
    visitor.look_over("an instrument with its certificate")
    for _page in range(3):
        page.go_back()
    expect(page.get_by_role("heading", name="2026-011")).to_be_visible()


def issue_the_letter(visitor: Visitor) -> str:
    page = visitor.page
    visitor.press("Issue the outcome letter")
    number = Letter.objects.get().number
    expect(page.get_by_role("status")).to_contain_text(number)
    visitor.look_over("a case with a letter being made")
    visitor.follow(number)
    expect(page.get_by_role("heading", name=number)).to_be_visible()
    visitor.mark()
    expect(page.get_by_role("link", name="Open the PDF")).to_be_visible(timeout=LETTER_S)
    if visitor.page.get_by_role("progressbar").count():
        raise AssertionError("a ready letter shows no progress")
    visitor.look_over("a ready letter")
    open_the_pdf(visitor, "Open the PDF")
    return number


def open_the_pdf(visitor: Visitor, words: str) -> None:
    """Its bytes are fetched beside the page, for the browser's own viewer keeps them.

    A browser without a viewer stays where it is.
    """
    letter_page = visitor.page.url
    link = visitor.page.get_by_role("link", name=words)
    answer = visitor.page.request.get(visitor.site + str(link.get_attribute("href")))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF-")
    with visitor.page.expect_response("**/pdf/") as opened:
        link.click()
    assert opened.value.ok
    visitor.page.goto(letter_page)


def send_the_letter(visitor: Visitor, worker: Mailbox) -> None:
    page = visitor.page
    visitor.press("E-mail the client a link")
    expect(page.get_by_role("definition").filter(has_text=CLIENT)).to_be_visible()
    visitor.press("Mark as posted")
    expect(page.get_by_role("button", name="Mark as posted")).to_have_count(0)
    expect(page.get_by_role("term").filter(has_text="Posted")).to_be_visible()
    visitor.look_over("a letter that was sent")
    worker.wait_for(CLIENT)


def read_what_was_mailed(stranger: Visitor, worker: Mailbox) -> None:
    """No log-in, and in the client's language, which is German."""
    page = stranger.page
    page.goto(worker.link_to(CLIENT))
    expect(page.locator("html")).to_have_attribute("lang", "de")
    stranger.look_over("a letter from the mail")
    open_the_pdf(stranger, "PDF öffnen")


def correct_the_letter(visitor: Visitor, first: str) -> None:
    page = visitor.page
    visitor.follow("Correct it by a new letter")
    page.get_by_label("What was wrong").fill("Das Bett links heißt jetzt Bett am Fenster.")
    visitor.look_over("correcting a letter")
    visitor.press("Issue the new letter")
    expect(page.get_by_role("link", name="Open the PDF")).to_be_visible(timeout=LETTER_S)
    expect(page.get_by_role("term").filter(has_text="Corrects")).to_be_visible()
    visitor.follow(first)
    expect(page.get_by_text("This letter has been replaced by")).to_be_visible()
    visitor.look_over("a letter that was replaced")
    assert Letter.objects.exclude(number=first).get().corrects.number == first


def begin_another_round(visitor: Visitor) -> None:
    page = visitor.page
    visitor.follow("2026-011")
    page.get_by_text("Hold, decline, hand over, another round").click()
    page.get_by_label("Another round because").fill("The desk is to come lower still.")
    visitor.press("Begin another round")
    expect(page.get_by_text("Round 2.")).to_be_visible()
    current = page.get_by_role("list", name="Stages").locator("[aria-current=step]")
    expect(current).to_have_text("plan of remedies")
    visitor.look_over("a second round")
    visitor.follow("History: who changed what")
    expect(page.get_by_role("main")).to_contain_text("Maren Holt")
    expect(page.get_by_role("main")).to_contain_text("The desk is to come lower still.")
