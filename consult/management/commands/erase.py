"""manage.py erase client 17 --dry-run: what an erasure would do; without it, the erasure.

manage.py erase --again: after an older backup was restored, do every erasure of the ledger again.
"""

from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from consult import tasks
from consult.management.persons import WHOSE, manager_of, person_of
from consult.models import Client, Erasure, Job, User
from consult.services.medical_devices import withdraw_again
from consult.services.privacy import ledger
from consult.services.privacy.erasures import (
    ERASE_FILES,
    erase_person,
    plan_erasure,
    repeat_erasure,
)


class Command(BaseCommand):
    help = "Erases a client or a log-in, or does the erasures of the ledger again."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("whose", nargs="?", choices=WHOSE)
        parser.add_argument("number", nargs="?", type=int, help="as in the address of their page")
        parser.add_argument("--dry-run", action="store_true", help="say what would be done")
        parser.add_argument("--by", help="the e-mail of who runs the practice and does this")
        parser.add_argument("--reason", default="", help="why before its time; it names nobody")
        parser.add_argument("--again", action="store_true", help="repeat those of the ledger")
        parser.add_argument("--ledger", type=Path, default=Path(settings.ERASURE_LEDGER))

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        if options["again"]:
            self.again(options["ledger"], now)
            return
        if options["whose"] is None or options["number"] is None:
            raise CommandError("Whom? Such as: erase client 17 --dry-run")
        person = person_of(options["whose"], options["number"])
        if options["dry_run"]:
            self.tell(person, now)
            return
        if not options["by"]:
            raise CommandError("Who does this? Such as: --by office@example.org")
        by = manager_of(options["by"])
        try:
            erasure = erase_person(person=person, by=by, now=now, reason=options["reason"])
        except ValidationError as error:
            raise CommandError("\n".join(error.messages)) from error
        self.finish(erasure)

    def tell(self, person: Client | User, now: datetime) -> None:
        plan = plan_erasure(person=person, now=now)
        for line in plan.lines:
            what = "deleted" if line.table.deletes else "blanked: " + ", ".join(line.table.blanks)
            rows = f"{line.rows} rows, {line.past} earlier states"
            self.stdout.write(f"{line.table.model}: {rows}, {what}")
            for name, fate in line.table.keeps.items():
                self.stdout.write(f"  {name} kept {fate.why}")
        self.stdout.write(f"{len(plan.files)} files deleted")
        for obstacle in plan.obstacles:
            how = "needs --reason" if obstacle.may_override else "not possible now"
            self.stdout.write(f"{how}: {obstacle.words}")

    def again(self, path: Path, now: datetime) -> None:
        n_done = 0
        for entry in list(ledger.entries(path)):
            erasure = repeat_erasure(entry=entry, now=now)
            if erasure is not None:
                self.finish(erasure)
                n_done += 1
        self.stdout.write(f"{n_done} erasures were done again.")
        withdrawals = [withdraw_again(entry=entry, now=now) for entry in ledger.withdrawals(path)]
        if any(withdrawals):
            self.stdout.write(f"{sum(withdrawals)} withdrawals were done again.")

    def finish(self, erasure: Erasure) -> None:
        """Delete the files now; a job that fails here is tried by the workers."""
        tasks.run_job(Job.objects.get(key=f"{ERASE_FILES}:{erasure.uid}").pk)
        erasure.refresh_from_db()
        gone = "all gone" if erasure.files_gone_at else "being deleted"
        self.stdout.write(f"Erased: {erasure.numbers()}. {erasure.n_files} files, {gone}.")
