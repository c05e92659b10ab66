"""Issue a letter of a case, and wait for its PDF if asked."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from consult.letter_kinds import registered
from consult.management.processes import ServiceError, finish_letter
from consult.models import Letter
from mitigation.models import Case
from mitigation.services.letters import issue_case_letter


class Command(BaseCommand):
    help = "Issue a letter of a case; with --wait print the path of its PDF."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("reference")
        parser.add_argument("--kind", choices=[kind.code for kind in registered()], required=True)
        parser.add_argument("--wait", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        case = Case.objects.for_list().filter(reference=options["reference"]).first()
        if case is None:
            raise CommandError(f"There is no case {options['reference']!r}.")
        try:
            letter = issue_case_letter(kind=options["kind"], case=case, by=None, now=timezone.now())
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        if not options["wait"]:
            self.stdout.write(letter.number)
            return
        try:
            letter = finish_letter(letter)
        except ServiceError as error:
            raise CommandError(str(error)) from error
        if letter.state != Letter.State.READY:
            raise CommandError(f"Letter {letter.number}: {letter.state}. {letter.failure}")
        self.stdout.write(default_storage.path(letter.file_key()))
