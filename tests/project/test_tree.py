"""The tree: what lies at the top, how long things are, nothing of one machine in it."""

import ast
import os
import re
import tomllib
from pathlib import Path

import pytest

from tests.project.files import APPS, ROOT, kept_files

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "Makefile",
    "manage.py",
    "pyproject.toml",
    "uv.lock",
    "LICENSE",
    "consult",
    "surveys",
    "mitigation",
    "templates",
    "tests",
    "fixtures",
}
MACHINE_PATH = re.compile(rb"(?<![\w.}])/(?:home|root|work|workspace|Users|mnt)/[\w.]")
BINARY = {".woff2", ".ttf", ".png", ".jpg", ".pdf", ".mo", ".xlsx", ".zip"}


def modules() -> list[Path]:
    return [
        path
        for path in kept_files()
        if path.suffix == ".py"
        and path.relative_to(ROOT).parts[0] in APPS
        and "migrations" not in path.parts
    ]


def test_nothing_else_lies_at_the_top():
    top = {path.relative_to(ROOT).parts[0] for path in kept_files()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_no_path_of_one_machine_is_written_down():
    found = {
        str(path.relative_to(ROOT))
        for path in kept_files()
        if path.suffix not in BINARY and path != Path(__file__)
        if MACHINE_PATH.search(path.read_bytes())
    }
    assert not found


def test_the_lock_comes_from_the_public_index():
    lock = tomllib.loads((ROOT / "uv.lock").read_text())
    sources = [package["source"] for package in lock["package"]]
    (index,) = {source["registry"] for source in sources if "registry" in source}
    # A mirror of some network would be a path, a number, a port or a name without a dot.
    assert re.fullmatch(r"https://[a-z]+\.org/simple", index)
    # The project itself is the one package from elsewhere.
    assert sum("registry" not in source for source in sources) == 1


def test_no_module_imports_all_of_scipy_stats():
    """Its import takes most of a second of each start; scipy.special has the same quantiles."""
    importing = {
        str(path.relative_to(ROOT))
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, (ast.Import, ast.ImportFrom)) and "scipy.stats" in ast.unparse(node)
    }
    assert not importing


@pytest.mark.parametrize("script", [".ci/run", ".ci/system", "manage.py"])
def test_scripts_can_be_started(script):
    assert os.access(ROOT / script, os.X_OK)


def test_every_package_says_that_it_is_one():
    """A folder without `__init__.py` would escape the import contracts."""
    folders = {path.parent for path in modules()}
    missing = {
        str(folder.relative_to(ROOT))
        for folder in folders
        if not (folder / "__init__.py").is_file()
    }
    assert missing == set()


def test_no_module_is_longer_than_400_lines():
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text().splitlines()) for path in modules()
    }
    assert {name: length for name, length in lengths.items() if length > 400} == {}


def test_no_function_is_longer_than_40_lines():
    long = {}
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                start = node.body[0].lineno
                if ast.get_docstring(node) is not None and len(node.body) > 1:
                    start = node.body[1].lineno
                length = (node.end_lineno or start) - start + 1
                if length > 40:
                    long[f"{path.relative_to(ROOT)}:{node.name}"] = length
    assert long == {}
