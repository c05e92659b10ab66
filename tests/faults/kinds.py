"""The kinds of jobs of these tests, declared in the test's process and in the worker's alike."""

from consult.services import jobs

WORKS = ("count", "kill", "hang", "eat", "fail")


def declare(work: str, handler: jobs.Handler) -> None:
    jobs.register(f"test-{work}", handler, about={"n": None}, repeatable=True, limit_s=50)
