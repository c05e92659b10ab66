"""manage.py retention --dry-run: what is past its time; without it, that goes."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from consult.services.privacy.clearing import clear_old, overdue_clients, what_goes


class Command(BaseCommand):
    help = "Clears what is past its time, and names the clients that somebody has to decide on."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="say what would go, and when")

    def handle(self, *args: Any, dry_run: bool, **options: Any) -> None:
        now = timezone.now()
        for line in what_goes(now=now):
            after = f", the next on {line.next_at:%Y-%m-%d}" if line.next_at else ""
            self.stdout.write(f"{line.clearing.kind}: {line.gone} of {line.rows} go{after}")
        for overdue in overdue_clients(now=now):
            number = overdue.client.pk
            self.stdout.write(
                f"client {number}: {overdue.cases} cases, may go since {overdue.since:%Y-%m-%d}; "
                f"see: erase client {number} --dry-run"
            )
        if not dry_run:
            gone = clear_old(now=now)
            self.stdout.write(f"{sum(gone.values())} rows cleared.")
