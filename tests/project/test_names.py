"""Variables are nouns of the field: `one`, `found`, `said` and `told` tell nothing of a value."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.project.files import APPS, ROOT

PRIVATE_WORDS = frozenset({"one", "found", "said", "told"})
# Their names are still to be gone through.
STILL_TO_DO = ("surveys/intake/", "mitigation/services/uploads.py")
# A migration is never edited once it has been run.
KEPT = ("/migrations/",)


def variables(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of each variable, parameter and function, but not of the fields of a class."""
    fields = {
        id(statement.target)
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        for statement in node.body
        if isinstance(statement, ast.AnnAssign)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            if id(node) not in fields:
                yield node.lineno, node.id
        elif isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node.lineno, node.name


def own_modules() -> list[Path]:
    paths = [path for app in APPS for path in sorted((ROOT / app).rglob("*.py"))]
    names = {path: path.relative_to(ROOT).as_posix() for path in paths}
    return [
        path
        for path, name in names.items()
        if not name.startswith(STILL_TO_DO) and not any(part in name for part in KEPT)
    ]


def test_no_variable_has_a_private_word_for_its_name():
    modules = own_modules()
    assert len(modules) > 200  # a search that finds no modules finds no fault
    faults = [
        f"{path.relative_to(ROOT)}:{line}: {name}"
        for path in modules
        for line, name in variables(ast.parse(path.read_text(encoding="utf-8")))
        if name in PRIVATE_WORDS
    ]
    assert faults == []


@pytest.mark.parametrize(
    "source",
    [
        "found = 1",
        "for said in rows: pass",
        "[one.pk for one in rows]",
        "lambda told: told.pk",
        "def f(found): pass",
        "def f(*, said=1): pass",
        "def told(): pass",
        "async def told(): pass",
        "with open(path) as one: pass",
        "if (found := look()): pass",
        "(said, count) = row",
    ],
)
def test_the_search_sees_every_way_to_name_a_variable(source):
    assert PRIVATE_WORDS & {name for _line, name in variables(ast.parse(source))}


def test_a_noun_and_a_field_of_a_class_pass():
    source = "class Words:\n    found: str\n\ndef f(reading):\n    return words.found, reading.said"
    assert not PRIVATE_WORDS & {name for _line, name in variables(ast.parse(source))}
