"""Writing an export to disk: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from spinfloor.core.errors import SpinfloorError


class CannotWriteError(SpinfloorError):
    """The place asked for cannot be written to."""

    code = "cannot-write"
    http_status = 400
    exit_code = 1


def write_whole(path: Path, data: bytes) -> None:
    """Write `data` beside `path`, then put it in place, so that a reader never sees half a file.

    A device or a pipe is written into; in its place a file would stand where the system expects the device.
    """
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(beside).chmod(0o644)
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CannotWriteError(
            expected="a file that can be written",
            got=f"{path}, where the system says {error.strerror or error}",
            now="nothing was written",
        ) from error
