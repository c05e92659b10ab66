"""Another broker for one test."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from pytest_django import Settings

from consult.services import jobs


@contextmanager
def broker_at(path: str, settings: Settings) -> Iterator[None]:
    """Hints of this process go to the Redis behind the socket `path`."""
    url = f"redis+socket://{path}?virtual_host=0"
    settings.CELERY_BROKER_URL = url
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(jobs.app.conf, "broker_url", url)
        patch.setattr(jobs, "_broker_rests_until", 0.0)
        forget_connections()
        yield
    forget_connections()


def forget_connections() -> None:
    """What happens after a fork: the application drops its open connections."""
    jobs.app._after_fork()  # type: ignore[attr-defined]  # there is no public way
