"""manage.py import_case FOLDER: prints the reference of the case, or every fault on stderr."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from mitigation.models import Case
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import ImportResult, import_case_folder
from surveys.intake import CaseFolderRefused


class Command(BaseCommand):
    help = "Import a case folder (a directory, a zip or one XLSX file) and print its reference."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument(
            "--into", metavar="REFERENCE", help="add the visits that this case does not have yet"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            result = self._import(options["folder"], options["into"])
        except CaseFolderRefused as refused:
            for line in refused.lines():
                self.stderr.write(line)
            sys.exit(1)
        self.stdout.write(result.case.reference)

    def _import(self, folder: Path, into: str | None) -> ImportResult:
        now = timezone.now()
        if into is None:
            return import_case_folder(source=folder, by=None, now=now)
        case = Case.objects.for_list().filter(reference=into).first()
        if case is None:
            raise CommandError(f"There is no case {into!r}.")
        return add_further_visits(source=folder, into=case, by=None, now=now)
