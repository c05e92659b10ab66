"""Files that mean harm, or come from another program, are refused with a clear word."""

import io
import random
import stat
import struct
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable

import pytest
import python_calamine
import xlsxwriter

from surveys.intake import Upload, check_case_folder, sources
from tests.surveys.case_folders import (
    CASE_ROWS,
    READINGS,
    TABLES,
    as_files,
    as_folder,
    as_workbook,
    as_zip,
    csv_text,
)

pytestmark = pytest.mark.django_db


def refused(data: bytes, name: str = "case.zip") -> str:
    preview = check_case_folder(Upload(name, data))
    assert preview.folder is None
    assert len(preview.faults) == 1, preview.lines()
    return preview.lines()[0]


def zip_with(*entries: tuple[zipfile.ZipInfo | str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in as_files().items():
            archive.writestr(name, data)
        for entry, data in entries:
            archive.writestr(entry, data)
    return buffer.getvalue()


@pytest.mark.parametrize("name", ["../x.csv", "/etc/x.csv", "a/../../x.csv", "C:x.csv", "a\\x.csv"])
def test_names_that_lead_elsewhere(name):
    assert "allowed: plain names" in refused(zip_with((name, b"x")))


def test_links_in_a_zip():
    entry = zipfile.ZipInfo("notes.csv")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    assert "a link" in refused(zip_with((entry, b"/etc/passwd")))


def test_links_in_a_folder(tmp_path):
    folder = as_folder(tmp_path / "folder")
    (folder / "ground_checks.csv").unlink()
    (folder / "ground_checks.csv").symlink_to("/etc/hostname")
    lines = check_case_folder(folder).lines()
    assert lines == ["folder: found 'ground_checks.csv, a link', allowed: plain files"]


def test_a_zip_with_a_password():
    data = bytearray(zip_with())
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(mark)
        data[at + offset] |= 1
    assert "encrypted" in refused(bytes(data))


def test_too_many_files():
    assert "at most 100" in refused(zip_with(*((f"{n}.csv", b"x") for n in range(100))))


def test_packed_beyond_reason():
    assert "packed beyond reason" in refused(zip_with(("x.csv", b"0" * 5_000_000)))


def test_more_than_allowed_when_unpacked():
    # random enough to stay under the ratio, repeated enough to stay under the size of an upload
    block = b"".join(struct.pack("<Q", n * 2_654_435_761 % 2**64) for n in range(2_000))
    assert "at most 64 MB" in refused(zip_with(("x.csv", block * 4_000)))


def test_a_size_that_lies_does_not_help():
    data = bytearray(zip_with())
    at = data.find(b"PK\x01\x02")
    data[at + 24 : at + 28] = struct.pack("<I", 1)
    assert "damaged" in refused(bytes(data))


def test_one_file_twice():
    with pytest.warns(UserWarning, match="Duplicate name"):
        data = zip_with(("readings.csv", b"x"))
    assert "each file once" in refused(data)


def test_a_name_in_upper_and_lower_case():
    assert "each file once" in refused(zip_with(("READINGS.csv", b"x")))


def test_an_upload_that_is_too_large():
    assert "at most 20 MB" in refused(b"PK" + b"x" * 20_000_000)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "neither a zip nor an XLSX"),
        (b"%PDF-1.7", "neither a zip nor an XLSX"),
        (b"PK\x03\x04rubbish", "damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "without a password"),
    ],
)
def test_what_is_no_case_at_all(data, word):
    assert word in refused(data)


def test_a_zip_cut_short():
    whole = as_zip().data
    assert "damaged" in refused(whole[: len(whole) // 2])


def test_no_such_folder(tmp_path):
    preview = check_case_folder(tmp_path / "nowhere")
    assert "no such folder" in preview.lines()[0]


def workbook_with(
    formula: str = "", far: tuple[int, int] | None = None, value: float | str = 5.25
) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "strings_to_formulas": False})
    for name, rows in {"case": CASE_ROWS, **TABLES}.items():
        sheet = book.add_worksheet(name.removesuffix(".csv"))
        for at, row in enumerate(rows):
            sheet.write_row(at, 0, row)
        if name == "readings.csv" and formula:
            sheet.write_formula(4, 8, formula, None, value)
        if name == "readings.csv" and far:
            sheet.write_string(*far, "far out")
    book.close()
    return buffer.getvalue()


def test_formulas_are_named_by_their_cell():
    line = refused(workbook_with(formula="=2+3.25"), "case.xlsx")
    assert line.startswith("sheet readings row 5, column x: found 'a formula'")


def rebuilt(change: Callable[[str, bytes], bytes]) -> bytes:
    """A good workbook with its parts changed."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(as_workbook().data)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            new.writestr(part, change(part, old.read(part)))
    return buffer.getvalue()


def grown(part: str, before: bytes, more: bytes) -> bytes:
    """A good workbook with `more` in one part."""
    return rebuilt(lambda name, data: data.replace(before, more + before) if name == part else data)


@pytest.mark.parametrize(
    ("part", "before"),
    [
        ("xl/workbook.xml", b"<sheets>"),
        ("xl/_rels/workbook.xml.rels", b"</Relationships>"),
        ("_rels/.rels", b"</Relationships>"),
    ],
)
def test_a_part_that_is_read_as_a_tree_is_small(part, before, monkeypatch):
    """A few kilobytes inflate to elements that are many times larger again in memory."""
    parsed = []
    monkeypatch.setattr(ET, "fromstring", lambda data: parsed.append(len(data)))
    bomb = grown(part, before, b"<a/>" * 250_000)
    assert len(bomb) < 20_000
    assert refused(bomb, "case.xlsx") == (
        f"case.xlsx: found '{part}, more when unpacked', allowed: at most 1 MB"
    )
    assert parsed == []


def test_the_parts_of_a_workbook_together_are_bounded():
    block = random.Random(7).randbytes(20_000) * 160  # packs well, and not beyond reason
    buffer = io.BytesIO(as_workbook().data)
    with zipfile.ZipFile(buffer, "a", zipfile.ZIP_DEFLATED) as archive:
        for number in range(20):
            archive.writestr(f"xl/media/{number}.bin", block)
    assert len(buffer.getvalue()) < 20_000_000 and len(block) * 20 == 64_000_000
    assert "at most 64 MB" in refused(buffer.getvalue(), "case.xlsx")


@pytest.mark.parametrize(
    ("part", "before", "more", "word"),
    [
        ("xl/worksheets/sheet4.xml", b"</sheetData>", b"<c><v>1</v></c>" * 3_000, "column AN"),
        ("xl/worksheets/sheet4.xml", b"</sheetData>", b"<x:c/>" * 3_000, "column AN"),
        ("xl/worksheets/sheet4.xml", b"</sheetData>", b"<row/>" * 300_000, "cells below row"),
        ("xl/sharedStrings.xml", b"</sst>", b"<si/>" * 1_100_000, "too many different texts"),
    ],
    ids=["cells", "cells with a prefix", "rows", "texts"],
)
def test_what_does_not_say_where_it_lies_is_counted(part, before, more, word, monkeypatch):
    monkeypatch.setattr(sources, "MOST_RATIO", 10_000)  # this test is not about that limit
    assert word in refused(grown(part, before, more), "case.xlsx")


def test_error_values_are_named_by_their_cell():
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook_with(formula="=1/0", value="#DIV/0!"))) as old,
        zipfile.ZipFile(buffer, "w") as new,
    ):
        for part in old.namelist():
            new.writestr(part, old.read(part).replace(b"<f>1/0</f>", b""))
    lines = check_case_folder(Upload("case.xlsx", buffer.getvalue())).lines()
    assert "sheet readings row 5, column x: found 'an error value'" in lines[0]


@pytest.mark.parametrize("far", [(1_048_575, 0), (0, 16_383), (250_000, 3), (3, 60)])
def test_a_cell_far_out_does_not_fill_the_memory(far):
    assert "cells" in refused(workbook_with(far=far), "case.xlsx")


def test_long_texts_in_many_cells_do_not_fill_the_memory():
    book = as_workbook()
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book.data)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            data = old.read(part)
            if part == "xl/sharedStrings.xml":
                data = data.replace(b"<t>before</t>", b"<t>" + b"ab" * 2_000_000 + b"</t>")
            new.writestr(part, data, zipfile.ZIP_STORED)
    assert "very long texts" in refused(buffer.getvalue(), "case.xlsx")


def test_a_workbook_with_a_sheet_of_its_own():
    preview = check_case_folder(as_workbook({**TABLES, "colours.csv": [["red"]]}))
    assert [line.partition(":")[0] for line in preview.lines()] == ["sheet colours"]


def test_a_workbook_without_a_sheet_that_it_needs():
    tables = {name: rows for name, rows in TABLES.items() if name != "visits.csv"}
    assert "a sheet visits" in " ".join(check_case_folder(as_workbook(tables)).lines())


def test_a_damaged_workbook():
    book = as_workbook()
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book.data)) as old, zipfile.ZipFile(buffer, "w") as new:
        for part in old.namelist():
            data = old.read(part)
            new.writestr(part, data[: len(data) // 2] if "sheet4" in part else data)
    assert "damaged workbook" in refused(buffer.getvalue(), "case.xlsx")


def test_a_workbook_on_which_the_reader_gives_up(monkeypatch):
    class PanicException(BaseException):
        """As the reader raises it."""

    def give_up(*args: object) -> None:
        raise PanicException

    monkeypatch.setattr(python_calamine, "load_workbook", give_up)
    assert "damaged workbook" in refused(as_workbook().data, "case.xlsx")


def test_an_error_cell_is_no_number():
    rows = [list(row) for row in READINGS]
    rows[1][8] = "#DIV/0!"
    preview = check_case_folder(as_zip(as_files(dict(TABLES) | {"readings.csv": rows})))
    assert "readings.csv row 2, column x" in preview.lines()[0]


def test_nul_in_a_cell():
    data = csv_text(READINGS).replace("first", "fi\0rst").encode()
    lines = check_case_folder(as_zip(as_files() | {"readings.csv": data})).lines()
    assert lines[0].startswith("readings.csv row 2, column note")
