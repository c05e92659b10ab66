"""Photographs on a case: written anew by a job, without the place where they were taken."""

import hashlib
import io
import struct
import zlib

import pillow_heif
import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image, ImageCms, ImageFile

from consult import tasks
from consult.intake import pictures
from consult.models import Job, StoredFile, User
from consult.services.files import write_file
from mitigation.models import Attachment
from mitigation.tasks import attachments
from tests.factories import CaseFactory, UserFactory, assign
from tests.files import content_of

pytestmark = pytest.mark.django_db

GPS_MARK = b"Neustrand-54.1"
RED, BLUE = (200, 30, 30), (30, 30, 200)


def picture(width: int = 60, height: int = 40) -> Image.Image:
    """Red, with its upper left corner blue, so that one sees how it lies."""
    image = Image.new("RGB", (width, height), RED)
    image.paste(BLUE, (0, 0, width // 2, height // 2))
    return image


def written(image: Image.Image, form: str, **more) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, form, **more)
    return buffer.getvalue()


def with_place(orientation: int = 1) -> Image.Exif:
    """What a phone writes: how it was held, and where."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "A phone"
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (54.0, 1.0, 12.0)
    place[29] = GPS_MARK.decode()
    return exif


def heic(image: Image.Image, **more) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.from_pillow(image).save(buffer, quality=90, **more)
    return buffer.getvalue()


@pytest.fixture
def case(client):
    client.force_login(UserFactory())
    return CaseFactory()


def attach(case, data: bytes, name: str = "IMG_1.jpg") -> Attachment:
    now = timezone.now()
    return attachments.attach_file(
        case=case, name=name, content=ContentFile(data), by=None, now=now
    )


def clean(row: Attachment) -> Attachment:
    """A worker does the job of a picture."""
    key = f"{attachments.CLEAN_PICTURE}:{row.pk}"
    assert tasks.run_job(Job.objects.get(key=key).pk)
    return Attachment.objects.get(pk=row.pk)


def colour(image: Image.Image, at: tuple[int, int]) -> tuple[int, int, int]:
    red, green, blue = (channel.getpixel(at) for channel in image.convert("RGB").split())
    return int(red), int(green), int(blue)


def kept(row: Attachment) -> Image.Image:
    return Image.open(io.BytesIO(content_of(attachments.open_attachment(row))))


def files_of(case) -> list[str]:
    folder = f"attachments/{case.pk}"
    return sorted(default_storage.listdir(folder)[1]) if default_storage.exists(folder) else []


def test_the_place_of_the_home_is_gone_to_the_last_byte(case, client):
    given = written(picture(), "JPEG", exif=with_place(), comment=b"at home", quality=95)
    assert GPS_MARK in given and b"at home" in given and b"Exif" in given
    row = attach(case, given)
    page = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert "is being cleaned" in page
    assert client.get(reverse("attachment", args=[row.pk])).status_code == 404
    assert client.get(reverse("attachment_picture", args=[row.pk])).status_code == 404
    assert row.state == "cleaning" and files_of(case) == [row.given_sha256]

    row = clean(row)
    handed_out = client.get(reverse("attachment", args=[row.pk])).getvalue()
    for trace in (GPS_MARK, b"at home", b"Exif", b"A phone"):
        assert trace not in handed_out and trace not in bytes(row.small)
    assert handed_out.startswith(b"\xff\xd8\xff")
    assert files_of(case) == [f"{row.given_sha256}-clean"]  # what was uploaded is gone
    assert row.stored.sha256 == hashlib.sha256(handed_out).hexdigest() != row.given_sha256
    assert row.stored.size == len(handed_out)
    assert [file.key for file in StoredFile.objects.all()] == [row.clean_key()]


def test_the_same_photograph_again_is_recognised(case):
    given = written(picture(), "JPEG", exif=with_place())
    row = clean(attach(case, given))
    assert attach(case, given, "copy.jpg") == row
    assert Attachment.objects.count() == 1


def test_two_photographs_that_clean_to_the_same_bytes_are_two(case):
    rows = [clean(attach(case, written(picture(), "PNG", dpi=(dpi, dpi)))) for dpi in (72, 300)]
    assert rows[0].stored.sha256 == rows[1].stored.sha256
    assert rows[0].stored.key != rows[1].stored.key


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_lies_as_the_phone_was_held(case, orientation):
    """Orientations of the EXIF standard: where the corner that was stored first belongs."""
    corner = {
        1: (0, 0),
        2: (1, 0),
        3: (1, 1),
        4: (0, 1),
        5: (0, 0),
        6: (1, 0),
        7: (1, 1),
        8: (0, 1),
    }
    given = written(picture(), "JPEG", exif=with_place(orientation), quality=95)
    image = kept(clean(attach(case, given)))
    assert image.size == ((60, 40) if orientation < 5 else (40, 60))
    assert image.getexif().get(0x0112) is None
    right, low = corner[orientation]
    at = (image.width * (1 + 2 * right) // 4, image.height * (1 + 2 * low) // 4)
    blue = colour(image, at)
    assert blue[2] > 150 > blue[0]


def test_heic_becomes_jpeg(case, client):
    given = heic(picture(64, 48), exif=with_place().tobytes())
    assert GPS_MARK in given
    row = clean(attach(case, given, "IMG_7.HEIC"))
    assert (row.kind, row.name, row.width, row.height) == ("image/jpeg", "IMG_7.jpg", 64, 48)
    assert kept(row).format == "JPEG"
    answer = client.get(reverse("attachment", args=[row.pk]))
    assert GPS_MARK not in answer.getvalue()


def test_a_heic_that_was_held_upright_lies_upright(case):
    given = heic(picture(64, 48), exif=with_place(6).tobytes())
    image = kept(clean(attach(case, given, "IMG_8.heic")))
    assert image.size == (48, 64)
    red, blue = colour(image, (10, 10)), colour(image, (38, 10))
    assert red[0] > 150 > red[2] and blue[2] > 150 > blue[0]


def test_a_png_stays_a_png_with_its_see_through_parts(case):
    image = picture().convert("RGBA")
    image.putalpha(Image.linear_gradient("L").resize(image.size))
    row = clean(attach(case, written(image, "PNG"), "plan.png"))
    assert (row.kind, row.name) == ("image/png", "plan.png")
    assert kept(row).mode == "RGBA"
    assert kept(row).tobytes() == image.tobytes()


@pytest.mark.parametrize("mode", ["L", "1", "P", "LA", "CMYK", "I;16"])
def test_every_usual_kind_of_colour_comes_through(mode):
    """Half of full brightness; JPEG and the way to CMYK and back cost up to 3 of 255."""
    form = "JPEG" if mode in ("L", "CMYK") else "PNG"
    image = Image.new("I;16", (90, 40), 128 * 256) if mode == "I;16" else _grey(mode)
    full, small = pictures.cleaned(written(image, form))
    pixel = colour(Image.open(io.BytesIO(full.data)), (45, 20))
    want = 255 if mode == "1" else 128
    assert all(abs(value - want) <= 3 for value in pixel), pixel
    assert Image.open(io.BytesIO(small.data)).mode == "RGB"


def _grey(mode: str) -> Image.Image:
    if mode == "1":
        return Image.new("1", (90, 40), 1)
    grey = Image.new("RGB", (90, 40), (128, 128, 128))
    return grey.quantize() if mode == "P" else grey.convert(mode)


def test_another_colour_space_is_converted_and_not_just_dropped():
    """Under a profile whose red and green primaries changed places, red is the green of sRGB."""
    swapped = _swapped_profile()
    image = Image.new("RGB", (80, 80), (255, 0, 0))
    full, _small = pictures.cleaned(written(image, "PNG", icc_profile=swapped))
    kept_image = Image.open(io.BytesIO(full.data))
    assert kept_image.info.get("icc_profile") is None
    red, green, _blue = colour(kept_image, (40, 40))
    assert green > 200 > 60 > red


def _swapped_profile() -> bytes:
    """An sRGB profile whose red and green primaries changed places."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", profile[128:132])[0]
    places = {}
    for entry in range(count):
        start = 132 + 12 * entry
        places[bytes(profile[start : start + 4])] = start
    for first, second in (("rXYZ", "gXYZ"),):
        one, two = places[first.encode()], places[second.encode()]
        profile[one + 4 : one + 12], profile[two + 4 : two + 12] = (
            profile[two + 4 : two + 12],
            profile[one + 4 : one + 12],
        )
    return bytes(profile)


def test_a_broken_colour_profile_is_left_out(case):
    given = written(picture(), "JPEG", icc_profile=b"no profile at all" * 20)
    row = clean(attach(case, given))
    assert row.state == "ready" and kept(row).info.get("icc_profile") is None


def bomb() -> bytes:
    """A PNG of a few hundred bytes that claims 100,000 x 100,000 pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(100_000)))
        + chunk(b"IEND", b"")
    )


def moving() -> bytes:
    frames = [picture(), Image.new("RGB", (60, 40), BLUE)]
    return written(frames[0], "PNG", save_all=True, append_images=frames[1:], duration=100)


def moving_heic() -> bytes:
    data = bytearray(heic(picture(64, 48)))
    data[8:12] = b"msf1"
    return bytes(data)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (bomb(), "more than 50 megapixels"),
        (written(picture(400, 300), "JPEG")[:-900], "damaged or not whole"),
        (written(picture(400, 300), "PNG")[:-200], "damaged or not whole"),
        (heic(picture(64, 48))[:-40], "damaged or not whole"),
        (b"\xff\xd8\xff" + bytes(range(256)) * 4, "damaged or not whole"),
        (b"\x89PNG\r\n\x1a\n<script>alert(1)</script>", "damaged or not whole"),
        (moving(), "moves"),
        (moving_heic(), "moves"),
    ],
    ids=["bomb", "cut jpeg", "cut png", "cut heic", "no jpeg", "no png", "moving", "moving heic"],
)
def test_bad_pictures_are_refused_with_a_word_at_their_line(case, client, data, word, monkeypatch):
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)  # as the PDF engine leaves it
    row = clean(attach(case, data))
    assert row.state == "refused" and files_of(case) == []
    page = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    assert word in page and "was refused" in page
    assert client.get(reverse("attachment", args=[row.pk])).status_code == 404
    assert client.get(reverse("attachment_picture", args=[row.pk])).status_code == 404
    client.post(reverse("attachment_remove", args=[row.pk]))
    assert not Attachment.objects.exists()


def test_a_size_between_once_and_twice_the_limit_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr(pictures, "MOST_PIXELS", 2_399)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 2_399)
    given = written(picture(), "JPEG")
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda image: pytest.fail("it was unpacked"))
    with pytest.raises(pictures.PictureRefused, match="megapixels"):
        pictures.cleaned(given)


def test_a_page_hidden_behind_a_photograph_is_gone(case, client):
    page = b"<html><script>alert(document.cookie)</script></html>"
    given = written(picture(), "JPEG", comment=page) + page
    row = clean(attach(case, given, "both.html"))
    answer = client.get(reverse("attachment", args=[row.pk]))
    handed_out = answer.getvalue()
    assert handed_out and b"script" not in handed_out and b"html" not in handed_out
    assert answer["Content-Type"] == "image/jpeg" and "both.jpg" in answer["Content-Disposition"]


def test_a_phones_jpeg_with_a_second_picture_in_it_is_no_film(case):
    """A depth map or preview beside the photograph (MPO): the photograph is kept, alone."""
    second = Image.new("RGB", (60, 40), BLUE)
    given = written(picture(), "MPO", save_all=True, append_images=[second])
    assert given.count(b"\xff\xd8\xff") == 2
    row = clean(attach(case, given))
    assert row.state == "ready"
    assert content_of(attachments.open_attachment(row)).count(b"\xff\xd8\xff") == 1


def test_the_small_one_is_shown_in_a_box_of_its_own(case, client):
    row = clean(attach(case, written(picture(900, 600), "JPEG")))
    page = client.get(reverse("case_detail", args=[case.reference])).content.decode()
    url = reverse("attachment_picture", args=[row.pk])
    assert f'src="{url}"' in page
    answer = client.get(url)
    assert Image.open(io.BytesIO(answer.content)).size == (320, 213)
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Type"] == "image/jpeg"


def test_the_line_of_a_picture_changes_in_place(case, client):
    row = attach(case, written(picture(), "JPEG"))
    url = reverse("attachment", args=[row.pk])
    part = client.get(url, headers={"HX-Request": "true"}).content.decode()
    assert "hx-get" in part and "<html" not in part
    assert f'href="{reverse("case_detail", args=[case.reference])}#files"' in part
    clean(row)
    part = client.get(url, headers={"HX-Request": "true"}).content.decode()
    assert "hx-get" not in part and "<img" in part


def test_who_sees_a_photograph(case, client):
    row = clean(attach(case, written(picture(), "JPEG")))
    theirs, other = (UserFactory(role=User.Role.ASSESSOR) for _ in range(2))
    assign(theirs, case.property)
    for user, status in ((theirs, 200), (other, 404)):
        client.force_login(user)
        assert client.get(reverse("attachment_picture", args=[row.pk])).status_code == status


def test_text_and_pdf_are_kept_as_they_are_and_at_once(case, client):
    row = attach(case, b"%PDF-1.7 plan", "plan.pdf")
    assert (row.state, row.stored.sha256) == ("ready", row.given_sha256)
    assert not Job.objects.filter(kind=attachments.CLEAN_PICTURE).exists()
    assert client.get(reverse("attachment", args=[row.pk])).getvalue() == b"%PDF-1.7 plan"
    client.post(reverse("attachment_remove", args=[row.pk]))
    assert Attachment.objects.exists()  # only a refused one can be taken off


def test_an_attempt_that_died_before_it_removed_the_file_is_made_good(case):
    given = written(picture(), "JPEG", exif=with_place())
    row = clean(attach(case, given))
    write_file(key=row.given_key(), data=given, attempt=9)
    attachments.clean_picture({"attachment": row.pk}, None)
    assert files_of(case) == [f"{row.given_sha256}-clean"]


def test_a_picture_that_ends_every_attempt_is_not_kept(case, monkeypatch):
    row = attach(case, written(picture(), "JPEG"))

    def eat(data):
        raise MemoryError

    with monkeypatch.context() as patch:
        patch.setattr(pictures, "cleaned", eat)
        for _attempt in range(5):
            Job.objects.update(run_after=timezone.now())
            clean(row)
    row.refresh_from_db()
    assert (row.state, row.refusal) == ("refused", pictures.GIVEN_UP)
    assert files_of(case) == []
    again = attach(case, written(picture(), "JPEG"))  # the same file may be tried anew
    assert clean(again).state == "ready"


def test_an_svg_is_refused_at_the_door(case, client):
    svg = SimpleUploadedFile("a.svg", b'<svg xmlns="http://www.w3.org/2000/svg"/>')
    answer = client.post(reverse("file_attach", args=[case.reference]), {"file": svg}, follow=True)
    assert "kind of file" in answer.content.decode()
    with pytest.raises(ValidationError, match="kind of file"):
        attach(case, b"GIF89a" + bytes(40))
