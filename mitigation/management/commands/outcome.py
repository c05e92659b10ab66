"""Print the comparison of a case."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mitigation.comparison import compare
from mitigation.management.outcome_table import outcome_table
from mitigation.models import Case
from mitigation.services.enclosures import outcome_text


class Command(BaseCommand):
    help = "Print the comparison of a case: before, after, reduction, band, decision per spot."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("reference")
        parser.add_argument("--format", choices=["table", "json"], default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        case = (
            Case.objects.select_related("guideline", "property__client")
            .filter(reference=options["reference"])
            .first()
        )
        if case is None:
            raise CommandError(f"There is no case {options['reference']!r}.")
        outcome = compare(case).as_json()
        if options["format"] == "json":
            self.stdout.write(outcome_text(outcome))
        else:
            self.stdout.write(outcome_table(outcome))
