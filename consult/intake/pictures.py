"""Pictures from strangers' phones, decoded within limits and written anew.

Only the pixels come through: no place of a home, no name of a camera, no second file hidden behind
the first. What can't be decoded whole is refused with a word.
"""

import base64
import io
import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache

import pillow_heif
from django.utils.translation import gettext_noop
from PIL import Image, ImageCms, ImageFile, ImageOps

MOST_PIXELS = 50_000_000  # the largest of the usual phones make 48 megapixels
SMALL = (320, 320)
MOST_LOGO_BYTES = 2_000_000
MOST_LOGO_PIXELS = 9_000_000
LEAST_LOGO_SIDE = 80
LOGO = (600, 180)  # about 300 dots per inch where it is printed
KEPT_LOGO_BYTES = 30_000  # it lies in every letter's row
SKETCH = (1000, 1000)  # about 150 dots per inch where a letter prints it
KEPT_SKETCH_BYTES = 120_000  # it lies in the row of every letter that prints it
FORMATS = ("JPEG", "PNG", "HEIF")
_QUALITY = 88

pillow_heif.register_heif_opener()  # a second opener for AVIF is not registered
Image.MAX_IMAGE_PIXELS = MOST_PIXELS

TOO_LARGE = gettext_noop("The picture has more than 50 megapixels.")
DAMAGED = gettext_noop("The picture is damaged or not whole.")
ANIMATED = gettext_noop("The picture moves. A single still picture is kept here.")
OTHER_KIND = gettext_noop("This kind of picture is not kept here: JPEG, PNG or HEIC.")
GIVEN_UP = gettext_noop("The picture could not be cleaned. Attach it again.")
LOGO_TOO_LARGE = gettext_noop("A logo has at most 2 MB and 9 megapixels.")
LOGO_TOO_SMALL = gettext_noop("A logo is at least 80 pixels wide.")
LOGO_KIND = gettext_noop("A logo is a PNG or JPEG file.")

# What Pillow's readers raise for bytes that are not what they claim to be.
_BAD = (OSError, SyntaxError, ValueError, EOFError, TypeError, KeyError, IndexError, OverflowError,
        ZeroDivisionError, RuntimeError, struct.error, Image.DecompressionBombError)  # fmt: skip


class PictureRefused(Exception):
    """A picture that is not kept; its text, in English, has a translation."""


@dataclass(frozen=True)
class Picture:
    """A picture as it is kept."""

    data: bytes
    kind: str
    width: int
    height: int


def is_heic(data: bytes) -> bool:
    """True for the still and moving pictures that phones write as HEIC or HEIF."""
    brands = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
    return data[4:8] == b"ftyp" and data[8:12] in brands


def cleaned(data: bytes) -> tuple[Picture, Picture]:
    """The picture upright, in sRGB, written anew, and a small one; PictureRefused with a word."""
    image = _decoded(data, FORMATS, MOST_PIXELS, TOO_LARGE)
    png = image.format == "PNG"
    try:
        image = _in_srgb(ImageOps.exif_transpose(image))
        full = _written(image, "PNG") if png else _written(_on_white(image), "JPEG")
        image.thumbnail(SMALL, Image.Resampling.LANCZOS)
        return full, _written(_on_white(image), "JPEG")
    except _BAD as error:
        raise PictureRefused(DAMAGED) from error


def cleaned_logo(data: bytes) -> Picture:
    """A logo as a small PNG on white paper; PictureRefused with a word."""
    if len(data) > MOST_LOGO_BYTES:
        raise PictureRefused(LOGO_TOO_LARGE)
    if not data.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        raise PictureRefused(LOGO_KIND)
    image = _decoded(data, ("JPEG", "PNG"), MOST_LOGO_PIXELS, LOGO_TOO_LARGE)
    try:
        image = _on_white(_in_srgb(ImageOps.exif_transpose(image)))
    except _BAD as error:
        raise PictureRefused(DAMAGED) from error
    if image.width < LEAST_LOGO_SIDE:
        raise PictureRefused(LOGO_TOO_SMALL)
    image.thumbnail(LOGO, Image.Resampling.LANCZOS)
    few = image.quantize(256, dither=Image.Dither.NONE)  # most logos have few colours
    logo = _written(few if few.convert("RGB").tobytes() == image.tobytes() else image, "PNG")
    while len(logo.data) > KEPT_LOGO_BYTES:
        logo = _written(image.quantize(96, method=Image.Quantize.MEDIANCUT), "PNG")
        image = image.resize((max(image.width * 4 // 5, 1), max(image.height * 4 // 5, 1)))
    return logo


def sketch_of(data: bytes) -> Picture:
    """A picture as a letter prints it, a JPEG on white; PictureRefused with a word."""
    image = _decoded(data, FORMATS, MOST_PIXELS, TOO_LARGE)
    try:
        image = _on_white(_in_srgb(ImageOps.exif_transpose(image)))
        image.thumbnail(SKETCH, Image.Resampling.LANCZOS)
        sketch = _written(image, "JPEG")
        while len(sketch.data) > KEPT_SKETCH_BYTES:
            image = image.resize((max(image.width * 4 // 5, 1), max(image.height * 4 // 5, 1)))
            sketch = _written(image, "JPEG")
    except _BAD as error:
        raise PictureRefused(DAMAGED) from error
    return sketch


def as_data_url(picture: bytes, kind: str = "image/png") -> str:
    """The address by which a page carries a picture in itself."""
    return f"data:{kind};base64," + base64.b64encode(picture).decode("ascii")


def _decoded(
    data: bytes, formats: tuple[str, ...], most_pixels: int, too_large: str
) -> Image.Image:
    """The one still picture of a file; its size is looked at before anything is unpacked."""
    with warnings.catch_warnings():
        # a size between once and twice the limit is a warning to Pillow; it is checked below
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        try:
            image: Image.Image = Image.open(io.BytesIO(data), formats=formats)
        except Image.DecompressionBombError as error:
            raise PictureRefused(too_large) from error
        except _BAD as error:
            known = data.startswith((b"\x89PNG", b"\xff\xd8\xff")) or is_heic(data)
            raise PictureRefused(DAMAGED if known else OTHER_KIND) from error
    if image.width * image.height > most_pixels:
        raise PictureRefused(too_large)
    # A phone's JPEG may carry its depth map or preview as a further frame; that is no film.
    if image.format == "PNG" and getattr(image, "is_animated", False):
        raise PictureRefused(ANIMATED)
    if image.format == "HEIF" and data[8:12] in (b"msf1", b"hevc", b"hevx"):
        raise PictureRefused(ANIMATED)
    try:
        with _whole_pictures_only():
            image.load()
    except _BAD as error:
        raise PictureRefused(DAMAGED) from error
    return image


@contextmanager
def _whole_pictures_only() -> Iterator[None]:
    """The PDF engine of the same worker lets half a picture through, for all of the process."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def _in_srgb(image: Image.Image) -> Image.Image:
    """The pixels as every screen and printer takes them, 8 bits each, and nothing beside them."""
    if image.mode.startswith("I"):  # 16 bits of grey
        image = image.convert("I").point(lambda value: value / 256).convert("L")
    alpha = None
    if "transparency" in image.info or image.mode in ("LA", "PA", "RGBA", "La", "RGBa"):
        image = image.convert("RGBA")
        alpha = image.getchannel("A")
    colours = _by_profile(image if alpha is None else image.convert("RGB"))
    if alpha is not None:
        colours.putalpha(alpha)
    colours.info = {}
    return colours


def _by_profile(image: Image.Image) -> Image.Image:
    """Through the file's own colour profile; one that is broken or of another kind is left out."""
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            done = ImageCms.profileToProfile(image, own, _srgb(), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            done = None
        if done is not None:
            return done
    return image.convert("RGB")


@cache
def _srgb() -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))


def _on_white(image: Image.Image) -> Image.Image:
    if image.mode != "RGBA":
        return image
    paper = Image.new("RGB", image.size, "white")
    paper.paste(image, mask=image.getchannel("A"))
    return paper


def _written(image: Image.Image, form: str) -> Picture:
    buffer = io.BytesIO()
    more = {"quality": _QUALITY} if form == "JPEG" else {"compress_level": 9}
    if form == "PNG" and image.width * image.height > 1_000_000:
        more = {"compress_level": 6}
    image.save(buffer, form, **more)
    kind = "image/jpeg" if form == "JPEG" else "image/png"
    return Picture(buffer.getvalue(), kind, image.width, image.height)
