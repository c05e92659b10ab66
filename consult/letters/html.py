"""A frozen content as the HTML page that becomes its PDF: no query, no clock, no language."""

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from consult.letter_kinds import letter_kind
from consult.letters.charts import Chart, PictureRow, PictureWords, Point
from consult.letters.checking import check_block
from consult.letters.levels import levels_svg
from consult.letters.picture import before_after_svg, findings_svg

TEMPLATE_VERSION = "letter-4"
ROWS_ON_ONE_PAGE = 8
"""A group of a table with so few rows is not torn apart."""


def letter_html(content: Mapping[str, Any], check_code: str = "") -> str:
    """The page of one letter, from nothing but its frozen content and its code."""
    kind = letter_kind(content["kind"])
    if kind is None:
        raise ValueError(f"no letter of the kind {content['kind']!r}")
    parts = {
        part: [_drawn(block) for block in content.get(part, ())]
        for part in ("client", "engineer", "annex")
    }
    check = check_block(content, check_code)
    if check:  # the picture escapes its title
        check["svg"] = mark_safe(check["svg"])
    drawn = {**content, **parts, "check": check}
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
    if block["type"] == "levels":
        return {**block, "svg": mark_safe(levels_svg(block["rows"], block["words"]))}
    if block["type"] != "pictures":
        return dict(block)
    draw = findings_svg if block["single"] else before_after_svg
    words = PictureWords(**block["words"])
    charts = [chart_from(data) for data in block.get("charts") or block["panels"]]  # older letters
    every_row = [row for chart in charts for row in chart.rows]
    svgs: list[SafeString] = [
        # The picture escapes every text. One legend for all charts stands under the last.
        mark_safe(
            draw(
                chart,
                words,
                legend_rows=every_row if chart is charts[-1] else (),
                in_title=True,
            )
        )
        for chart in charts
    ]
    return {**block, "svgs": svgs}


def _with_cells(block: Mapping[str, Any]) -> dict[str, Any]:
    """Each cell together with whether its column holds numbers."""
    number = [column["number"] for column in block["columns"]]
    groups = [
        {
            "head": group["head"],
            "kept": len(group["rows"]) <= ROWS_ON_ONE_PAGE,
            "rows": [
                [{"text": text, "number": flag} for text, flag in zip(row, number, strict=True)]
                for row in group["rows"]
            ],
        }
        for group in block["groups"]
    ]
    return {**block, "groups": groups}
