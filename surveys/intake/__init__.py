"""Case folders in: files to checked rows, with every wrong cell named. Nothing is stored here."""

from surveys.intake.faults import CaseFolderRefused, Fault
from surveys.intake.folder import (
    CheckedFolder,
    Preview,
    check_case_folder,
    open_case_folder,
    read_case_folder,
)
from surveys.intake.sources import Files, Source, Upload

__all__ = [
    "CaseFolderRefused",
    "CheckedFolder",
    "Fault",
    "Files",
    "Preview",
    "Source",
    "Upload",
    "check_case_folder",
    "open_case_folder",
    "read_case_folder",
]
