"""Print what a plan of a case should bring, or the cheapest plan that holds the beds."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mitigation.management.plan_table import plan_table
from mitigation.models import Case
from mitigation.planning.plans import plan_json, planning_of
from mitigation.services.trial_fits import kept_fit
from surveys.models.circuits import names_in


class Command(BaseCommand):
    help = "Print the cheapest plan of a case that holds its rows, or what given items bring."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("reference")
        parser.add_argument(
            "--probability", type=float, default=90.0, help="wanted at each row, in percent"
        )
        parser.add_argument("--rows", choices=["sleeping", "all"], default="sleeping")
        parser.add_argument("--items", help='this very set, such as "R1;R4"; "" is the empty plan')
        parser.add_argument("--format", choices=["table", "json"], default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        case = (
            Case.objects.select_related("guideline", "property__client")
            .prefetch_related("guideline__bands")
            .filter(reference=options["reference"])
            .first()
        )
        if case is None:
            raise CommandError(f"There is no case {options['reference']!r}.")
        percent = options["probability"]
        if not 0.0 < percent <= 100.0:
            raise CommandError(f"--probability is above 0 and at most 100, not {percent:g}.")
        planning = planning_of(
            case,
            wanted=percent / 100,
            every_row=options["rows"] == "all",
            look_up=lambda _trials, _sources: kept_fit,  # what is not kept is sampled here
        )
        names = None if options["items"] is None else names_in(options["items"])
        unknown = set(names or ()) - {item.name for item in planning.items}
        if unknown:
            known = ", ".join(item.name for item in planning.items) or "none"
            raise CommandError(f"No item {', '.join(sorted(unknown))}; this case has: {known}.")
        plan = plan_json(planning, names)
        if options["format"] == "json":
            self.stdout.write(json.dumps(plan, ensure_ascii=False, indent=2, allow_nan=False))
        else:
            self.stdout.write(plan_table(plan))
