"""Files of a plain form go straight to where uploads lie."""

from __future__ import annotations

import os
import uuid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload

from clinics.actions.upload_parts import FULL
from portal.requests import SignedInRequest


class ReceivedFile(UploadedFile):
    """A file of a plain form, already on the uploads' disk."""

    def __init__(self, path: Path, name: str, size: int) -> None:
        super().__init__(None, name, size=size)
        self.path = path

    def close(self) -> None:
        """Nothing is open."""


class ToUploadsDisk(FileUploadHandler):
    """Writes a form's files straight to where uploads lie, so that none passes through memory
    or through the system's small folder for temporaries."""

    def __init__(self, request: SignedInRequest) -> None:
        super().__init__(request)
        self.paths: list[Path] = []
        self.handle: int | None = None

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.paths.append(Path(settings.UPLOADS_DIR) / f"{uuid.uuid4()}.form")
        self.handle = os.open(self.paths[-1], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        assert self.handle is not None
        try:
            os.write(self.handle, raw_data)
        except OSError as problem:
            if problem.errno not in FULL:
                raise
            raise StopUpload(connection_reset=True) from problem

    def file_complete(self, file_size: int) -> ReceivedFile:
        assert self.handle is not None
        os.fsync(self.handle)
        os.close(self.handle)
        self.handle = None
        return ReceivedFile(self.paths[-1], str(self.file_name or "file"), file_size)

    def upload_interrupted(self) -> None:
        self.clear()

    def clear(self) -> None:
        """What the form left behind, if it was not taken over."""
        if self.handle is not None:
            os.close(self.handle)
            self.handle = None
        for path in self.paths:
            path.unlink(missing_ok=True)
