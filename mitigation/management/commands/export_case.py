"""manage.py export_case REFERENCE PATH: a folder, a .zip or an .xlsx that imports again."""

import io
import zipfile
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from mitigation.models import Case
from mitigation.services.exports import export_case_folder, export_case_workbook


class Command(BaseCommand):
    help = "Write a case as a case folder: PATH ends in .zip or .xlsx, or names a new folder."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("reference")
        parser.add_argument("path", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["path"]
        case = Case.objects.filter(reference=options["reference"]).first()
        if case is None:
            raise CommandError(f"There is no case {options['reference']}.")
        if path.exists():
            raise CommandError(f"{path} is there already.")
        try:
            _write(case, path)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}.") from error
        self.stdout.write(str(path))


def _write(case: Case, path: Path) -> None:
    if path.suffix == ".xlsx":
        path.write_bytes(export_case_workbook(case=case))
    elif path.suffix == ".zip":
        path.write_bytes(export_case_folder(case=case))
    else:
        folder = export_case_folder(case=case)
        path.mkdir(parents=True)
        with zipfile.ZipFile(io.BytesIO(folder)) as archive:
            archive.extractall(path)
