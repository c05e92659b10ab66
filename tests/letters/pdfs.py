"""The PDF of a letter taken apart: its tags, its texts, what it declares, what it carries."""

import io
import re
from collections.abc import Iterator
from typing import Any

import pikepdf
import pikepdf.pdfa

UA_MARK = re.compile(
    rb'<rdf:Description rdf:about=""\s+xmlns:pdfuaid=.*?</rdf:Description>\s*(?=</rdf:RDF>)', re.S
)


def elements(node: Any) -> Iterator[Any]:
    """Every element of a structure tree below `node`, in reading order."""
    for child in _children(node):
        if isinstance(child, pikepdf.Dictionary) and "/S" in child:
            yield child
            yield from elements(child)


def _children(node: Any) -> list[Any]:
    kids = node.get("/K", [])
    return list(kids) if isinstance(kids, pikepdf.Array) else [kids]


def kind(element: Any) -> str:
    return str(element["/S"]).removeprefix("/")


def kinds_of_children(element: Any) -> list[str]:
    return [kind(child) for child in _children(element) if "/S" in child]


def of_kind(pdf: pikepdf.Pdf, *kinds: str) -> list[Any]:
    return [element for element in elements(pdf.Root.StructTreeRoot) if kind(element) in kinds]


def faults_of(pdf: pikepdf.Pdf) -> list[str]:
    """What pikepdf's rules of PDF/A-3b have against a PDF, whose PDF/UA mark is taken off for it.

    They know no extension schemas, so they would refuse the mark however well it is described.
    """
    without, marks = UA_MARK.subn(b"", pdf.Root.Metadata.read_bytes())
    if marks != 1:
        return [f"{marks} PDF/UA marks"]
    pdf.Root.Metadata.write(without)
    report = pikepdf.pdfa.check(pdf, "3b")
    return [f"{fault.rule} {fault.where}: {fault.message}" for fault in report.findings]


def enclosed_texts(data: bytes) -> dict[str, str]:
    """The files that a PDF carries, by name."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        return {
            name: spec.get_file().read_bytes().decode() for name, spec in pdf.attachments.items()
        }
