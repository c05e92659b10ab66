"""manage.py import_case FOLDER: prints the reference of the case, or every fault on stderr."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from mitigation.services.imports import import_case_folder
from surveys.intake import CaseFolderRefused


class Command(BaseCommand):
    help = "Import a case folder (a directory, a zip or one XLSX file) and print its reference."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            result = import_case_folder(source=options["folder"], by=None, now=timezone.now())
        except CaseFolderRefused as refused:
            for line in refused.lines():
                self.stderr.write(line)
            sys.exit(1)
        self.stdout.write(result.case.reference)
