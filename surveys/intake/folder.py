"""A case folder from its bytes to checked rows: everything that is wrong is found at once."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext

from surveys.intake.casefile import CaseFile, entries_of_sheet, entries_of_toml, read_case
from surveys.intake.circuits import (
    ApplianceRow,
    CircuitRow,
    check_names_off,
    read_appliances,
    read_circuits,
)
from surveys.intake.columns import COLUMNS, MOST_ROWS
from surveys.intake.csvfile import read_csv
from surveys.intake.faults import CaseFolderRefused, Fault, FaultLog, lines
from surveys.intake.readings import Readings, read_readings, visit_places
from surveys.intake.registers import (
    GroundCheckRow,
    InstrumentRow,
    VisitRow,
    read_ground_checks,
    read_instruments,
    read_visits,
)
from surveys.intake.remedies import RemedyKind, RemedyRow, declared_by, read_remedies
from surveys.intake.sources import (
    APPLIANCES,
    CASE,
    CIRCUITS,
    FILES,
    GROUND_CHECKS,
    INSTRUMENTS,
    READINGS,
    REMEDIES,
    REQUIRED_FILES,
    VISITS,
    WORKBOOK,
    Files,
    Source,
    read_files,
)
from surveys.intake.tables import RawTable, Table, table_of
from surveys.intake.workbook import read_workbook
from surveys.models import Guideline


@dataclass(frozen=True)
class CheckedFolder:
    """A case folder without a fault."""

    case: CaseFile
    instruments: tuple[InstrumentRow, ...]
    visits: tuple[VisitRow, ...]
    readings: Readings
    ground_checks: tuple[GroundCheckRow, ...]
    circuits: tuple[CircuitRow, ...]
    appliances: tuple[ApplianceRow, ...]
    remedies: tuple[RemedyRow, ...]
    files: Files


@dataclass(frozen=True)
class Preview:
    """What a case folder holds, or what is wrong with it."""

    folder: CheckedFolder | None
    faults: tuple[Fault, ...]
    n_faults: int
    counts: dict[str, int]
    tables: dict[str, RawTable]

    @property
    def ok(self) -> bool:
        """True if it can be imported as it is."""
        return self.folder is not None

    def lines(self) -> list[str]:
        """One line a fault."""
        return lines(self.faults, self.n_faults)


def open_case_folder(source: Source) -> Files:
    """The files of a case folder, unread; CaseFolderRefused if it can't be opened."""
    log = FaultLog()
    files = read_files(source, log)
    if files is None:
        raise CaseFolderRefused(log.first(), log.count)
    return files


def check_case_folder(source: Source, kinds: Sequence[RemedyKind] = ()) -> Preview:
    """Read and check all of a case folder; nothing is stored. `kinds` are those of remedies."""
    try:
        return check_files(open_case_folder(source), kinds)
    except CaseFolderRefused as refused:
        return Preview(None, refused.faults, refused.count, {}, {})


def check_files(files: Files, kinds: Sequence[RemedyKind] = ()) -> Preview:
    """Check all files of a case folder."""
    log = FaultLog()
    counts: dict[str, int] = {}
    raw = _raw_tables(files, log)
    folder = _checked(files, raw, counts, kinds, log) if raw or not log else None
    return Preview(folder, log.first(), log.count, counts, raw)


def read_case_folder(files: Files, kinds: Sequence[RemedyKind] = ()) -> CheckedFolder:
    """A case folder that is sure to be right; CaseFolderRefused with every fault if it is not."""
    preview = check_files(files, kinds)
    if preview.folder is None:
        raise CaseFolderRefused(preview.faults, preview.n_faults)
    return preview.folder


def _raw_tables(files: Files, log: FaultLog) -> dict[str, RawTable]:
    """The tables by file name; faults where a file is missing, unknown or can't be read."""
    if set(files.content) == {WORKBOOK}:
        tables = read_workbook(files.name, files.content[WORKBOOK], log)
        if tables:
            for name in REQUIRED_FILES:
                if name not in tables:
                    wanted = gettext("a sheet %(name)s") % {"name": name.partition(".")[0]}
                    log.add(files.name, None, None, None, wanted)
        return tables
    tables = {}
    for name in FILES:
        data = files.content.get(name)
        if data is None and name in REQUIRED_FILES:
            wanted = gettext("the file %(name)s, it is required") % {"name": name}
            log.add(name, None, None, None, wanted)
        elif data is not None and name != CASE:
            table = read_csv(name, data, log)
            if table is not None:
                tables[name] = table
    for name in files.content:
        if name not in FILES:
            known = gettext("the files %(names)s") % {"names": ", ".join(FILES)}
            log.add(name, None, None, name, known)
    return tables


def _checked(
    files: Files,
    raw: dict[str, RawTable],
    counts: dict[str, int],
    kinds: Sequence[RemedyKind],
    log: FaultLog,
) -> CheckedFolder | None:
    case = _case(files, raw, log)
    tables = {name: _table(name, raw, log) for name in COLUMNS}
    counts.update({name: len(table) for name, table in tables.items() if name in raw})
    instruments = read_instruments(tables[INSTRUMENTS])
    visits = read_visits(tables[VISITS])
    if INSTRUMENTS in raw and VISITS in raw:
        readings = read_readings(tables[READINGS], visits, instruments)
        checks = read_ground_checks(tables[GROUND_CHECKS], visit_places(visits))
        circuits = read_circuits(tables[CIRCUITS])
        rooms = [room for room, _name, _use in readings.spots]
        appliances = read_appliances(tables[APPLIANCES], circuits, rooms)
        # The sheet of a template that nobody filled in declares nothing and forbids nothing.
        is_there = CIRCUITS in files.content or len(tables[CIRCUITS]) > 0
        declared = circuits if is_there else None
        check_names_off(tables[READINGS], declared, appliances)
        appliances_declared = appliances if is_there or APPLIANCES in raw else None
        names = declared_by(declared, appliances_declared, readings.spots)
        remedies = read_remedies(tables[REMEDIES], names, kinds)
    if log or case is None:
        return None
    return CheckedFolder(
        case, instruments, visits, readings, checks, circuits, appliances, remedies, files
    )


def _case(files: Files, raw: dict[str, RawTable], log: FaultLog) -> CaseFile | None:
    if CASE in files.content:
        entries = entries_of_toml(files.content[CASE], log)
    elif CASE in raw:
        entries = entries_of_sheet(raw[CASE], log)
    else:
        return None
    if entries is None:
        return None
    guidelines = Guideline.objects.values_list("code", flat=True)
    return read_case(entries, list(guidelines))


def _table(name: str, raw: dict[str, RawTable], log: FaultLog) -> Table:
    most, specs = MOST_ROWS[name], COLUMNS[name]
    if name not in raw:
        header = [spec.name for spec in specs]  # an absent file has no rows and no faults
        return table_of(RawTable(name, [header]), specs, most, log)
    return table_of(raw[name], specs, most, log)
