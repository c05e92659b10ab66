"""manage.py backup: one file with the database and the kept files; or a look at such a file."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from consult.services.backups import check_backup, make_backup
from consult.services.backups.archive import BackupError


class Command(BaseCommand):
    help = "Write the database and the kept files into one archive, while the site runs."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", type=Path, help="a folder, or a new file")
        parser.add_argument("--check", type=Path, metavar="FILE", help="only look at a backup")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["check"]:
                self._check(options["check"])
            else:
                self._make(options["to"])
        except BackupError as error:
            raise CommandError(str(error)) from error

    def _make(self, to: Path | None) -> None:
        made = make_backup(to=to, now=timezone.now())
        self.stdout.write(str(made.path))
        self.stdout.write(f"seal {made.digest}")
        self.stdout.write(f"{made.rows} rows and {made.files} files")
        for key in made.missing:
            self.stderr.write(f"The database names {key}, which is not there.")
        self.stderr.write(
            "The backup holds people's data, their letters and mails, and their log-ins with the "
            "second factors: keep it as safely as the site itself. The secret key is not in it: "
            "keep that apart. Under another one everybody logs in anew, and links that were mailed "
            "before end."
        )

    def _check(self, path: Path) -> None:
        archive = check_backup(path=path)
        rows = sum(archive.manifest["rows"].values())
        self.stdout.write(f"{path} is whole, made {archive.manifest['made_at']}")
        self.stdout.write(f"seal {archive.digest}")
        self.stdout.write(f"{rows} rows and {len(archive.files)} files")
