"""What a kept file holds, for a test to look at."""

from typing import IO


def content_of(file: IO[bytes]) -> bytes:
    """All of it; the file is closed."""
    with file:
        return file.read()
