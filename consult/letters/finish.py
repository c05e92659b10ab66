"""The last touches to a PDF before it is written: what the engine leaves out or says twice."""

from typing import Any


def finish(_document: Any, pdf: Any) -> None:
    """Scopes of header cells, each attached file once, no empty resources."""
    _scope_headers(pdf)
    _name_files_once(pdf)
    _drop_empty_resources(pdf)


def _scope_headers(pdf: Any) -> None:
    """A header cell says what it heads: columns in the head and over a group, else its row."""
    elements: dict[bytes, Any] = {
        item.reference: item for item in pdf.objects if _kind(item) == "/StructElem"
    }
    for cell in elements.values():
        if cell["S"] == "/TH":
            row = elements[cell["P"]]
            heads_column = elements[row["P"]]["S"] == "/THead" or "ColSpan" in cell["A"]
            cell["A"]["Scope"] = "/Column" if heads_column else "/Row"


def _kind(item: Any) -> Any:
    return item.get("Type") if isinstance(item, dict) else None


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
