"""Finished work on disk: one file a result, named by its content hash, written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from pithline.errors import InputError

PLAN = ".plan"


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of results. Reading never trusts a file that does not unpack whole."""

    folder: Path

    def get(self, key: str) -> bytes | None:
        """The packed script, or None where it is not there or not whole."""
        with contextlib.suppress(OSError, zlib.error):
            data = (self.folder / (key + PLAN)).read_bytes()
            zlib.decompress(data)
            return data
        return None

    def put(self, key: str, data: bytes) -> None:
        """Keep a packed script.

        Raises
        ------
        InputError
            If the disk is full or the folder cannot be written; nothing half-written stays.
        """
        temporary: str | None = None
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(prefix=".new-", dir=self.folder)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
                os.fchmod(file.fileno(), 0o644)
            os.replace(temporary, self.folder / (key + PLAN))
        except OSError as error:
            if temporary is not None:
                Path(temporary).unlink(missing_ok=True)
            raise InputError(
                f"{self.folder} cannot be written ({error.strerror or error}); what is finished is kept: make room and start again."
            ) from error

    def sweep(self) -> None:
        """Remove what a killed run left half-written."""
        for path in self.folder.glob(".new-*"):
            path.unlink(missing_ok=True)
