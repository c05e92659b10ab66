"""The practice is asked for in one place, so that it can become one of several."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
# The row itself, and the service that locks it while it is changed.
DOORS = {"consult/models/people.py", "consult/services/people.py"}


def test_the_practice_is_asked_for_by_one_function() -> None:
    asking = {
        path.relative_to(ROOT).as_posix()
        for app in ("consult", "surveys", "mitigation")
        for path in (ROOT / app).rglob("*.py")
        if "migrations" not in path.parts
        if re.search(r"\bPractice\.(objects|_default_manager)\b", path.read_text())
    }
    assert asking == DOORS
