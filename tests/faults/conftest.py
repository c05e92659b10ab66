"""The rig of services that every fault test harms."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from pytest_django import Settings

from consult.management import processes
from consult.models import Property
from tests.broker import broker_at
from tests.consult import issued
from tests.faults import kinds
from tests.faults.rig import Rig


@pytest.fixture
def rig(
    live_services_environment: dict[str, str],
    tmp_path: Path,
    settings: Settings,
) -> Iterator[Rig]:
    with ExitStack() as stack:
        folder = stack.enter_context(processes.private_folder())
        rig = Rig(folder, tmp_path / "meeting")
        stack.callback(rig.stop)
        stack.enter_context(broker_at(str(processes.redis_socket(folder)), settings))
        yield rig


@pytest.fixture(autouse=True)
def declared_kinds() -> None:
    """The test's own process writes such jobs; a worker alone does them."""
    for work in kinds.WORKS:
        kinds.declare(work, lambda arguments, run: None)


@pytest.fixture
def place(live_services_environment: dict[str, str]) -> Property:
    return issued.home()
