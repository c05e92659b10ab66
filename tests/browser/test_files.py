"""What takes a moment, watched: an upload, a photograph being cleaned; a logo on its page."""

import io

import pytest
from PIL import Image
from playwright.sync_api import expect

from consult.models import Job
from consult.tasks import run_job
from mitigation.models import Attachment
from mitigation.tasks import attachments, uploads
from tests.cast import make_cast
from tests.factories import UserFactory
from tests.surveys.case_folders import as_zip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def picture(form: str, **more) -> bytes:
    buffer = io.BytesIO()
    image = Image.new("RGB", (400, 300), (90, 110, 80))
    image.paste((230, 225, 210), (60, 60, 240, 260))
    image.save(buffer, form, **more)
    return buffer.getvalue()


def work(kind: str) -> None:
    assert run_job(Job.objects.filter(kind=kind).latest("pk").pk)


@pytest.mark.parametrize("has_script", [True, False])
def test_an_upload_is_watched_from_its_check_to_its_case(look, has_script, visitors) -> None:
    visitor = visitors.enter(UserFactory(), has_script=has_script, **look)
    page = visitor.page
    again = page.get_by_role("link", name="Look again")
    visitor.open("/uploads/")
    folder = {"name": "case.zip", "mimeType": "application/zip", "buffer": as_zip().data}
    page.get_by_label("Case folder").set_input_files(folder)
    visitor.press("Check the files")
    expect(page.get_by_role("heading", name="Being checked")).to_be_visible()
    visitor.look_over("an upload being checked")
    work(uploads.CHECK_UPLOAD)
    if not has_script:
        again.click()
    expect(page.get_by_role("heading", name="Ready to import")).to_be_visible()
    visitor.press("Import this case")
    expect(page.get_by_text("It waits for its turn.")).to_be_visible()
    visitor.look_over("an upload being imported")
    page.reload()
    expect(page.get_by_text("It waits for its turn.")).to_be_visible()
    work(uploads.IMPORT_UPLOAD)
    if not has_script:
        again.click()
        page.get_by_role("link", name="Open the case").click()
    expect(page.get_by_role("heading", name="EB-TEST-1")).to_be_visible()
    visitor.open("/uploads/")
    visitor.look_over("uploads of one's own")
    visitor.follow("case.zip")
    expect(page.get_by_role("link", name="Open the case")).to_be_visible()
    visitor.look_over("an upload that is in")


def test_a_photograph_is_cleaned_and_shown_and_a_bad_one_refused(look, visitors) -> None:
    cast = make_cast()
    visitor = visitors.enter(cast.people["its assessor"], **look)
    page = visitor.page
    visitor.open(f"/cases/{cast.case.reference}/")
    for name, data in (
        ("IMG_1.jpg", picture("JPEG", comment=b"at home")),
        ("IMG_2.jpg", picture("JPEG")[:-200]),
    ):
        visitor.unfold("Attach a file")
        page.get_by_label("File", exact=True).set_input_files(
            {"name": name, "mimeType": "image/jpeg", "buffer": data}
        )
        visitor.press("Attach")
        expect(page.get_by_text("is being cleaned:").first).to_be_visible()
        visitor.mark()
        visitor.look_over("a photograph being cleaned")
        work(attachments.CLEAN_PICTURE)
        if name == "IMG_1.jpg":
            shown = page.locator("ul.files img")
            expect(shown).to_be_visible()
            shown.scroll_into_view_if_needed()  # only then is it fetched
            expect(shown).to_have_js_property("complete", True)
            assert shown.evaluate("image => image.naturalWidth") == 320
    expect(page.get_by_text("The picture is damaged or not whole.")).to_be_visible()
    assert visitor.is_marked()  # the lines changed in place
    visitor.look_over("photographs of a case")
    with page.expect_download() as download:
        visitor.follow("IMG_1.jpg")
    assert b"at home" not in download.value.path().read_bytes()
    visitor.press("Remove this line")
    expect(page.get_by_text("IMG_2.jpg")).to_have_count(0)
    assert Attachment.objects.get().name == "IMG_1.jpg"


def test_a_logo_is_put_on_the_letterhead_and_taken_off(look, visitors) -> None:
    visitor = visitors.enter(UserFactory(is_manager=True), **look)
    page = visitor.page
    visitor.open("/practice/")
    page.get_by_label("Name", exact=True).fill("Quiet Rooms")
    page.get_by_label("Logo").set_input_files(
        {"name": "mark.png", "mimeType": "image/png", "buffer": picture("PNG")}
    )
    visitor.press("Save the changes")
    logo = page.get_by_role("img", name="The logo on your letters")
    expect(logo).to_be_visible()
    visitor.look_over("a letterhead with its logo")
    page.get_by_label("Print letters without a logo").check()
    visitor.press("Save the changes")
    expect(page.get_by_label("Logo")).to_be_visible()
    expect(logo).to_have_count(0)
