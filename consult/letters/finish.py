"""The last touches to a PDF before it is written: what the engine leaves out or says twice."""

from collections.abc import Iterable
from typing import Any

import pydyf

Elements = dict[bytes, Any]


def finish(_document: Any, pdf: Any) -> None:
    """Header cells get scopes, running feet are artifacts, files are named once."""
    elements = {item.reference: item for item in pdf.objects if _kind(item) == "/StructElem"}
    _scope_headers(elements)
    _set_feet_apart(pdf, elements)
    _name_files_once(pdf)
    _drop_empty_resources(pdf)


def _kind(item: Any) -> Any:
    return item.get("Type") if isinstance(item, dict) else None


def _scope_headers(elements: Elements) -> None:
    """A header cell says what it heads: columns in the head and over a group, else its row."""
    for cell in elements.values():
        if cell["S"] == "/TH":
            row = elements[cell["P"]]
            heads_column = elements[row["P"]]["S"] == "/THead" or "ColSpan" in cell["A"]
            cell["A"]["Scope"] = "/Column" if heads_column else "/Row"


def _set_feet_apart(pdf: Any, elements: Elements) -> None:
    """Margin boxes are marked as if they were read, and left out of what is read."""
    root = _object(pdf, pdf.catalog["StructTreeRoot"])
    read = _below(root["K"], elements)
    numbers = _object(pdf, root["ParentTree"])["Nums"]
    of_page = dict(zip(numbers[::2], numbers[1::2], strict=True))
    for place, reference in enumerate(pdf.page_references):
        owners = of_page[place]
        feet = {mcid for mcid, owner in enumerate(owners) if owner not in read}
        for mcid in feet:
            owners[mcid] = b"null"
        _mark_as_feet(_object(pdf, _object(pdf, reference)["Contents"]).stream, feet)
    for reference in elements.keys() - read:
        elements[reference].free = "f"


def _below(kids: Iterable[Any], elements: Elements) -> set[bytes]:
    """References of all elements that hang on these."""
    reached: set[bytes] = set()
    waiting = [kid for kid in kids if kid in elements]
    while waiting:
        reference = waiting.pop()
        reached.add(reference)
        waiting += [kid for kid in elements[reference]["K"] if kid in elements]
    return reached


def _mark_as_feet(stream: list[Any], feet: set[int]) -> None:
    for at, word in enumerate(stream):
        if isinstance(word, dict) and word.get("MCID") in feet:
            stream[at - 1] = "/Artifact"
            stream[at] = pydyf.Dictionary({"Type": "/Pagination", "Subtype": "/Footer"})


def _object(pdf: Any, reference: bytes) -> Any:
    return pdf.objects[int(reference.split()[0])]


def _name_files_once(pdf: Any) -> None:
    files = pdf.catalog.get("AF")
    if files:
        files[:] = dict.fromkeys(files)


def _drop_empty_resources(pdf: Any) -> None:
    for item in pdf.objects:
        resources = item if isinstance(item, dict) else getattr(item, "extra", {}).get("Resources")
        if isinstance(resources, dict) and "ExtGState" in resources:
            for name in ("ExtGState", "Pattern", "Shading", "XObject"):
                if name in resources and not resources[name]:
                    del resources[name]
