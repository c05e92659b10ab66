"""Names of fields in migrations: words of the models alone, no column of the database."""

from typing import Any

from django.db.migrations import SeparateDatabaseAndState
from django.db.migrations.state import ProjectState


class NameFields(SeparateDatabaseAndState):
    """Field operations that change no column, with the models built once after the last of them."""

    def __init__(self, state_operations: Any) -> None:
        super().__init__(state_operations=state_operations)

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        state.__dict__.pop("apps", None)  # else each operation builds all related models anew
        super().state_forwards(app_label, state)
