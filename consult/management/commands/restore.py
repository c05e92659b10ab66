"""manage.py restore FILE: put a backup in the place of this site's database and files."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from consult.services.backups import restore_backup
from consult.services.backups.archive import BackupError


class Command(BaseCommand):
    help = "Put a backup in the place of the database and the kept files, with the site stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--replace", action="store_true", help="let go what the site holds now, for good"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = restore_backup(
                path=options["file"], replace=options["replace"], now=timezone.now()
            )
        except BackupError as error:
            raise CommandError(str(error)) from error
        manifest = done.archive.manifest
        self.stdout.write(f"Restored as it was on {manifest['made_at']}")
        self.stdout.write(f"seal {done.archive.digest}")
        self.stdout.write(f"{sum(manifest['rows'].values())} rows and {done.files} files")
        if done.migrated:
            self.stdout.write(f"{done.migrated} migrations have come since and were applied.")
        if done.removed:
            self.stdout.write(f"{done.removed} files that no row names any more were removed.")
        if done.erased_again:
            self.stdout.write(f"{done.erased_again} erasures that came after it were done again.")
        for why in done.not_erased:
            self.stderr.write(f"An erasure that came after it has to be repeated by hand: {why}")
        for key in manifest["missing_files"]:
            self.stderr.write(f"The database names {key}, which was not there already then.")
        self.stderr.write(
            f"{done.waiting_jobs} jobs wait and go on when the site starts, with "
            f"{done.unsent_mails} mails that were not sent at that time. Links in mails need the "
            "secret key of that time."
        )
