"""Where a letter can be checked, as it stands beside the signature: words, code and QR code."""

from collections.abc import Mapping
from typing import Any

import segno
from django.utils.translation import gettext as _

from consult.letters.marks import INK, attribute


def check_words(address: str, number: str) -> dict[str, str]:
    """What a letter says of its page of checking; nothing where there is no such page."""
    if not address:
        return {}
    words = _(
        "Is letter %(number)s ours, and does it still stand? Anybody can check it at %(address)s "
        "with its file, or its number and this code:"
    )
    picture = _("QR code that opens %(address)s with the number and the code of this letter")
    return {
        "address": address,
        "words": words % {"number": number, "address": address},
        "picture": picture % {"address": address},
    }


def check_block(content: Mapping[str, Any], code: str) -> dict[str, str]:
    """The words of a letter with its code and the picture of it; empty without a code."""
    words: Mapping[str, str] = content.get("check", {})
    if not words or not code:
        return {}
    address = filled_in(words["address"], content["number"], code)
    return {"words": words["words"], "code": code, "svg": qr_svg(address, words["picture"])}


def filled_in(address: str, number: str, code: str) -> str:
    """The page with number and code behind the #, which no browser sends and no log holds."""
    return f"{address}#{number}.{code}"


def qr_svg(text: str, title: str) -> str:
    """A QR code that survives a stain on a seventh of it (level M)."""
    rows = segno.make_qr(text, error="m").matrix
    size = len(rows)
    dark = "".join(
        f"M{x} {y}h{length}v1h-{length}z" for y, row in enumerate(rows) for x, length in _runs(row)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" role="img">'
        f'<title>{attribute(title)}</title><path d="{dark}" fill="{INK}"/></svg>'
    )


def _runs(row: bytearray | tuple[int, ...]) -> list[tuple[int, int]]:
    """Where dark modules stand side by side: their place and how many."""
    runs: list[tuple[int, int]] = []
    for x, is_dark in enumerate(row):
        if not is_dark:
            continue
        if runs and sum(runs[-1]) == x:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((x, 1))
    return runs
