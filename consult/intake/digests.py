"""A file of which nothing but its digest is wanted: hashed as it comes in, and kept nowhere."""

import hashlib
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler


class HashedFile(UploadedFile):  # type: ignore[type-arg]  # generic in the stubs alone
    """What is left of a file that was sent: its name, its size and its SHA-256."""

    def __init__(self, *, name: str, size: int, sha256: str) -> None:
        super().__init__(file=None, name=name, size=size)
        self.sha256 = sha256


class HashingHandler(FileUploadHandler):
    """Takes each piece of a file and hands none on, so that none reaches memory or disk."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self._digest = hashlib.sha256()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        self._digest.update(raw_data)

    def file_complete(self, file_size: int) -> HashedFile:
        name = self.file_name or ""
        return HashedFile(name=name, size=file_size, sha256=self._digest.hexdigest())
