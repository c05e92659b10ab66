"""What the documents say is there: commands, paths."""

import re

import pytest
from django.core.management import get_commands

from tests.project.files import ROOT

README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
TARGET = re.compile(r"^([a-z][a-z-]*):", re.MULTILINE)
PATH = re.compile(r"`([\w.-]+(?:/[\w.*<>-]+)*/?)`")
TOP = {path.name for path in ROOT.iterdir()}


def written_code(text: str) -> str:
    """What stands in code blocks and between backticks."""
    blocks = re.findall(r"```.*?```", text, re.DOTALL)
    return "\n".join([*blocks, *re.findall(r"`[^`\n]+`", text)])


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_make_target_named_exists(document):
    targets = set(TARGET.findall((ROOT / "Makefile").read_text()))
    named = set(re.findall(r"\bmake ([a-z][a-z-]*)", written_code(document.read_text())))
    assert named <= targets


def test_the_readme_names_the_two_commands():
    assert {"make demo", "make test"} <= set(
        re.findall(r"\bmake [a-z]+", written_code(README.read_text()))
    )


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_command_named_exists(document):
    named = set(re.findall(r"manage\.py ([a-z_]+)", document.read_text()))
    assert named <= set(get_commands())


def test_the_settings_read_every_variable_that_the_readme_lists():
    rows = re.findall(r"^\| ((?:`[A-Z_]+`,? ?)+)\|", README.read_text(), re.MULTILINE)
    listed = {name for row in rows for name in re.findall(r"`([A-Z_]+)`", row)}
    assert {"DATABASE_URL", "REDIS_URL", "SECRET_KEY", "ALLOWED_HOSTS"} <= listed
    settings = (ROOT / "consult" / "settings.py").read_text()
    assert {name for name in listed if f'"{name}"' not in settings} == set()


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_path_named_exists(document):
    paths = {path for path in PATH.findall(document.read_text()) if path.split("/")[0] in TOP}
    missing = {path for path in paths if "<" not in path and not list(ROOT.glob(path.rstrip("/")))}
    assert not missing


def test_the_developers_document_maps_the_house():
    text = DEVELOPERS.read_text()
    for app in ("consult", "surveys", "mitigation"):
        assert f"{app}/" in text


def test_make_help_lists_what_people_type():
    text = (ROOT / "Makefile").read_text()
    for target in ("demo", "serve", "test", "lint", "bench"):
        assert re.search(rf"^#   make {target}\b", text, re.MULTILINE)
        assert target in TARGET.findall(text)
