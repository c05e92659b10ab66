"""The import contracts hold, and a module that breaks one is caught."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.project.files import APPS, ROOT

LINT_IMPORTS = Path(sys.executable).with_name("lint-imports")


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [LINT_IMPORTS, "--no-cache", "--no-logo"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copied_tree(tmp_path):
    """The apps and the contracts, in a folder where a test may break them."""
    for app in APPS:
        shutil.copytree(
            ROOT / app, tmp_path / app, ignore=shutil.ignore_patterns("__pycache__", "static")
        )
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold(copied_tree):
    linted = lint_imports(copied_tree)
    assert linted.returncode == 0, linted.stdout
    assert "5 kept, 0 broken" in linted.stdout


@pytest.mark.parametrize(
    ("path", "line", "contract"),
    [
        # A view that takes from another view.
        (
            "surveys/views/looks_aside.py",
            "from surveys.views.visits import visit_list",
            "Views do not import views",
        ),
        # A module that stands on no floor.
        ("surveys/stray.py", "", "Floors inside an app"),
        ("consult/helpers.py", "", "Floors inside an app"),
        # A floor that looks up.
        ("surveys/models/looks_up.py", "import surveys.services", "Floors inside an app"),
        ("consult/calc/looks_up.py", "import consult.models", "Floors inside an app"),
        # An app that looks up.
        ("consult/models/looks_up.py", "import surveys.models", "Apps point one way"),
        ("surveys/models/looks_up.py", "import mitigation.models", "Apps point one way"),
        # What the numbers may not know.
        ("surveys/calc/knows_django.py", "import django.db", "The numbers know no Django"),
        ("mitigation/calc/rolls_dice.py", "import random", "The numbers know no Django"),
        # A PDF made elsewhere.
        ("mitigation/letters/makes_pdf.py", "import weasyprint", "Only consult.letters"),
    ],
)
def test_what_breaks_a_contract_is_caught(copied_tree, path, line, contract):
    (copied_tree / path).write_text(f"{line}\n")
    linted = lint_imports(copied_tree)
    assert linted.returncode != 0
    verdict = next(row for row in linted.stdout.splitlines() if row.startswith(contract))
    assert "BROKEN" in verdict
