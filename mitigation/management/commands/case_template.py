"""manage.py case_template PATH: the empty XLSX template of a case."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mitigation.services.plan_items import offered_kinds
from surveys.intake.template import write_template


class Command(BaseCommand):
    help = "Write the empty XLSX template of a case to PATH."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["path"]
        if path.exists():
            raise CommandError(f"{path} is there already.")
        try:
            path.write_bytes(write_template(offered_kinds()))
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}.") from error
        self.stdout.write(str(path))
