"""The rig of services that every fault test harms."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from pytest_django import Settings

from consult.management import processes
from consult.models import Property
from consult.services import jobs
from tests.consult import issued
from tests.faults.rig import Rig


@pytest.fixture
def rig(
    live_services_environment: dict[str, str],
    tmp_path: Path,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Rig]:
    with ExitStack() as stack:
        folder = stack.enter_context(processes.private_folder())
        rig = Rig(folder, tmp_path / "meeting")
        stack.callback(rig.stop)
        url = f"redis+socket://{processes.redis_socket(folder)}?virtual_host=0"
        settings.CELERY_BROKER_URL = url
        monkeypatch.setattr(jobs.app.conf, "broker_url", url)
        monkeypatch.setattr(jobs, "_broker_rests_until", 0.0)
        jobs.app._after_fork()  # the way a fork makes the application forget its connections
        stack.callback(jobs.app._after_fork)
        yield rig


@pytest.fixture
def place(live_services_environment: dict[str, str]) -> Property:
    return issued.home()
