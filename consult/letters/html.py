"""A frozen content as the HTML page that becomes its PDF: no query, no clock, no language."""

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from consult.letter_kinds import letter_kind
from consult.letters.charts import Chart, PictureRow, PictureWords, Point
from consult.letters.picture import before_after_svg, findings_svg

TEMPLATE_VERSION = "letter-2"


def letter_html(content: Mapping[str, Any]) -> str:
    """The page of one letter, from nothing but its frozen content."""
    kind = letter_kind(content["kind"])
    if kind is None:
        raise ValueError(f"no letter of the kind {content['kind']!r}")
    drawn = {**content, "client": [_drawn(block) for block in content["client"]],
             "engineer": [_drawn(block) for block in content["engineer"]]}  # fmt: skip
    return render_to_string(kind.template, {"letter": drawn})


def chart_from(data: Mapping[str, Any]) -> Chart:
    """A chart that lay as JSON in a letter's content."""
    rows = tuple(
        PictureRow(**{**row, "before": _point(row["before"]), "after": _point(row["after"])})
        for row in data["rows"]
    )
    first, second, third = data["bounds"]
    none, slight, severe, extreme = data["band_words"]
    return Chart(
        **{
            **data,
            "rows": rows,
            "bounds": (first, second, third),
            "band_words": (none, slight, severe, extreme),
        }
    )


def _point(data: Mapping[str, Any] | None) -> Point | None:
    return Point(**data) if data else None


def _drawn(block: Mapping[str, Any]) -> dict[str, Any]:
    if block["type"] == "table":
        return _with_cells(block)
    if block["type"] != "pictures":
        return dict(block)
    draw = findings_svg if block["single"] else before_after_svg
    words = PictureWords(**block["words"])
    svgs: list[SafeString] = [
        mark_safe(draw(chart_from(data), words))  # the picture escapes every text
        for data in block.get("charts") or block["panels"]  # older letters name them so
    ]
    return {**block, "svgs": svgs}


def _with_cells(block: Mapping[str, Any]) -> dict[str, Any]:
    """Each cell together with whether its column holds numbers."""
    number = [column["number"] for column in block["columns"]]
    groups = [
        {
            "head": group["head"],
            "rows": [
                [{"text": text, "number": flag} for text, flag in zip(row, number, strict=True)]
                for row in group["rows"]
            ],
        }
        for group in block["groups"]
    ]
    return {**block, "groups": groups}
