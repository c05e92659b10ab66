"""`manage.py demo` in life: a real worker, real files, and again without a loss."""

import hashlib
import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from tests.migrated import copy_sqlite
from tests.project.files import ROOT

LETTER = re.compile(
    r"^(?:Outcome letter|Survey report|Plan of remedies) \S+: (.+\.pdf)$", re.MULTILINE
)
PRACTICE = "Fieldwater Survey Practice"
TABLES = ("consult_user", "consult_client", "mitigation_case", "surveys_reading", "consult_letter",
          "mitigation_outcome", "consult_job", "consult_assignment",
          "mitigation_keptpromise")  # fmt: skip


def demo(folder: Path, *options: str, **environment: str) -> subprocess.CompletedProcess[str]:
    alien = ("DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS", "SECRET_KEY", "MEDIA_ROOT")
    kept = {name: value for name, value in os.environ.items() if name not in alien}
    return subprocess.run(
        [sys.executable, "manage.py", "demo", "--no-serve", *options],
        cwd=ROOT,
        env={**kept, "EBBMARK_VAR": str(folder), **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def counts(folder: Path) -> dict[str, int]:
    database = sqlite3.connect(folder / "ebbmark.sqlite3")
    try:
        return {
            table: database.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in TABLES
        }
    finally:
        database.close()


def evidence(folder: Path) -> set[tuple[str, int]]:
    """The kinds with homes that the demo kept."""
    database = sqlite3.connect(folder / "ebbmark.sqlite3")
    try:
        rows = database.execute(
            "SELECT remedy, count(*) FROM mitigation_kepteffect WHERE n_rows > 0 GROUP BY remedy"
        ).fetchall()
    finally:
        database.close()
    return set(rows)


def senders(folder: Path) -> set[str]:
    """Who the letters come from."""
    database = sqlite3.connect(folder / "ebbmark.sqlite3")
    try:
        contents = database.execute("SELECT content FROM consult_letter").fetchall()
    finally:
        database.close()
    return {PRACTICE if PRACTICE in content else content for (content,) in contents}


@pytest.mark.long
def test_the_demo_makes_its_letters_and_a_second_run_loses_nothing(tmp_path):
    first = demo(tmp_path)
    assert first.returncode == 0, first.stderr
    letters = [Path(path) for path in LETTER.findall(first.stdout)]
    assert len(letters) == 11
    made = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in letters}
    assert all(path.read_bytes().startswith(b"%PDF-") for path in letters)
    for role in ("office", "assessor", "electrician", "client"):
        assert re.search(rf"^  {role} +\S+@\S+\.(example|org) ", first.stdout, re.MULTILINE)
    # One case of each kind that the demo is to show.
    for word in ("19 met, 0 not met", "2 rose", "no comparison", "< 0.1", "> 317",
                 "Only the baseline", "Nothing has been measured"):  # fmt: skip
        assert word in first.stdout
    assert senders(tmp_path) == {PRACTICE}
    before = counts(tmp_path)
    assert before["mitigation_case"] == 23  # twelve of them small and finished
    assert evidence(tmp_path) == {("bonded-shield", 5), ("demand-switch", 6),
                                  ("bonded-shield + demand-switch", 1)}  # fmt: skip

    second = demo(tmp_path)
    assert second.returncode == 0, second.stderr
    assert counts(tmp_path) == before
    assert {Path(path) for path in LETTER.findall(second.stdout)} == set(letters)
    assert {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in letters} == made
    assert "letters are queued" not in second.stdout
    tables = [run.stdout[run.stdout.index("\nCase ") :] for run in (first, second)]
    assert tables[0] == tables[1]


@pytest.mark.parametrize(
    "production",
    [
        {"ALLOWED_HOSTS": "survey.example"},
        {"DATABASE_URL": "postgres://ebbmark@db.example/ebbmark", "ALLOWED_HOSTS": "a.example"},
    ],
)
def test_the_demo_refuses_a_practice_of_several_machines(tmp_path, production):
    mails = {"SITE_URL": f"https://{production['ALLOWED_HOSTS']}", "EMAIL_URL": "memorymail://"}
    refused = demo(tmp_path, SECRET_KEY="a-key-for-this-test-only-" * 3, **production, **mails)
    assert refused.returncode != 0
    assert "one machine only" in refused.stderr


def test_the_demo_refuses_a_practice_that_is_at_work(tmp_path):
    copy_sqlite(tmp_path / "ebbmark.sqlite3")
    code = (
        "import django; django.setup();"
        "from consult.models import User;"
        "User.objects.create_user('real@practice.example', 'a long password', name='Real',"
        " role='office')"
    )
    environment = {"EBBMARK_VAR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "consult.settings"}
    alien = ("DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS")
    kept = {name: value for name, value in os.environ.items() if name not in alien}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=kept | environment, check=True)
    refused = demo(tmp_path)
    assert refused.returncode != 0
    assert "belongs to a practice already" in refused.stderr
    assert counts(tmp_path)["consult_user"] == 1
