"""manage.py person_data client 17 --to data.zip: all that is held of somebody, for them."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from consult.management.persons import WHOSE, person_of
from consult.services.privacy.packages import write_package


class Command(BaseCommand):
    help = "Writes all that is held of a client or a log-in into a ZIP."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("whose", choices=WHOSE)
        parser.add_argument("number", type=int, help="the number in the address of their page")
        parser.add_argument("--to", type=Path, required=True, help="the ZIP to write")

    def handle(self, *args: Any, whose: str, number: int, to: Path, **options: Any) -> None:
        person = person_of(whose, number)
        try:
            with to.open("xb") as file:
                write_package(person=person, out=file)
        except FileExistsError as error:
            raise CommandError(f"{to} is there already.") from error
        to.chmod(0o600)
        self.stdout.write(f"{to}: {to.stat().st_size} bytes")
