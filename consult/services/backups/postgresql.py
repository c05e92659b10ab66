"""PostgreSQL by its own tools: pg_dump out, pg_restore through psql in, in one transaction."""

import os
import re
import shutil
import subprocess
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO

from django.conf import settings
from django.db import connection
from django.utils.translation import gettext as _
from psycopg.conninfo import make_conninfo
from psycopg.pq import Conninfo

from consult.services.backups.archive import CHUNK, BackupError

WORD = re.compile(r"[A-Za-z0-9_]+")
# What the site has in its schema goes, in the transaction in which the backup comes.
BEGIN = """
BEGIN; SET LOCAL client_min_messages = warning; SET LOCAL lock_timeout = '10s';
DO $empty$ DECLARE one record; BEGIN
  FOR one IN SELECT tablename FROM pg_tables WHERE schemaname = current_schema() LOOP
    EXECUTE format('DROP TABLE %I CASCADE', one.tablename);
  END LOOP;
  FOR one IN SELECT oid::regprocedure AS name FROM pg_proc
      WHERE starts_with(proname, 'guard_') AND pronamespace = current_schema()::regnamespace LOOP
    EXECUTE format('DROP FUNCTION %s CASCADE', one.name);
  END LOOP;
END $empty$;
"""


def dump(path: Path, *, snapshot: str) -> None:
    """Write the database to `path` in pg_dump's own compressed form, as of `snapshot`."""
    command, environment = _command("pg_dump")
    options = ["--format=custom", "--no-owner", "--no-privileges", "--no-password"]
    done = subprocess.run(
        [*command, *options, f"--snapshot={snapshot}", f"--file={path}"],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise BackupError(_last_words("pg_dump", done.stderr))


def put_back(backup: IO[bytes], rows: Mapping[str, int]) -> None:
    """Replace the database by the dump in `backup`, if every table then has its number of `rows`.

    All in one transaction of the server, which commits only after pg_restore has ended well: an
    error, or a kill at any moment, leaves the database as it was.
    """
    restore, environment = _command("pg_restore", connects=False)
    psql, _same = _command("psql")
    connection.close()
    with (
        subprocess.Popen(
            [*restore, "--no-owner", "--no-privileges", "--file=-"],
            env=environment, stdin=backup,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        ) as script,
        subprocess.Popen(
            [*psql, "--no-psqlrc", "--quiet", "--no-password", "--set=ON_ERROR_STOP=1"],
            env=environment, stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        ) as server,
    ):  # fmt: skip
        assert script.stdout and script.stderr and server.stdin and server.stderr
        try:
            server.stdin.write(BEGIN.encode())
            while data := script.stdout.read(CHUNK):
                server.stdin.write(data)
            wrong = script.stderr.read().decode(errors="replace")
            if script.wait():
                raise BackupError(_last_words("pg_restore", wrong))
            server.stdin.write(f"\n{_counted(rows)}\nCOMMIT;\n".encode())
            server.stdin.close()
        except BrokenPipeError:  # the server has said no, and why is on its other pipe
            with suppress(BrokenPipeError):
                server.stdin.close()
        except BaseException:
            server.kill()  # before it could take the end of its input for the end of the work
            script.kill()
            raise
        output = server.stderr.read().decode(errors="replace")
        if server.wait():
            script.kill()
            raise BackupError(_last_words("psql", output))


def others_connected() -> int:
    """How many connections to the database there are beside this one."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        (count,) = cursor.fetchone()
    return int(count)


def _counted(rows: Mapping[str, int]) -> str:
    """SQL that ends the transaction unless the tables hold what the manifest says."""
    checks = "".join(
        f' IF (SELECT count(*) FROM public."{table}") <> {int(count)} THEN'
        f" RAISE EXCEPTION 'table {table} does not hold its {int(count)} rows'; END IF;"
        for table, count in rows.items()
    )
    return f"DO $count$ BEGIN{checks} END $count$;"


def _command(name: str, *, connects: bool = True) -> tuple[list[str], dict[str, str]]:
    """A tool with how it reaches the site's database, and the environment that tells it so."""
    tool = shutil.which(name, path=settings.PG_BIN or None)
    if tool is None:
        raise BackupError(
            _(
                "%(tool)s is not there. Install the client programs of PostgreSQL, version "
                "%(version)s or later, or name their folder in PG_BIN."
            )
            % {"tool": name, "version": _server_version()}
        )
    output = subprocess.run([tool, "--version"], capture_output=True, text=True, check=True).stdout
    match = re.search(r"\b(\d+)[.\w]*", output)
    version = int(match[1]) if match else 0
    if version < _server_version():
        raise BackupError(
            _(
                "%(tool)s is of version %(version)s, older than the server's %(server)s. Install "
                "the client programs of the server's version, or name their folder in PG_BIN."
            )
            % {"tool": tool, "version": version, "server": _server_version()}
        )
    return [tool, *([f"--dbname={_address()}"] if connects else [])], _environment()


def _address() -> str:
    """The site's database as libpq is told of it; the password is not for the list of processes."""
    known = {option.keyword.decode() for option in Conninfo.get_defaults()} - {"password"}
    parameters = connection.get_connection_params()
    return make_conninfo(**{name: value for name, value in parameters.items() if name in known})


def _environment() -> dict[str, str]:
    password = str(connection.settings_dict["PASSWORD"] or "")
    return {**os.environ, **({"PGPASSWORD": password} if password else {})}


def _server_version() -> int:
    connection.ensure_connection()
    return int(connection.pg_version) // 10_000  # type: ignore[attr-defined]  # PostgreSQL's own


def _last_words(tool: str, output: str) -> str:
    lines = [line for line in output.strip().splitlines() if line.strip()]
    return _("%(tool)s refused: %(said)s") % {"tool": tool, "said": " / ".join(lines[-3:]) or "?"}
