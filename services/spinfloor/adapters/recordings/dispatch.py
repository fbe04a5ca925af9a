"""Which reader a file goes to: by its first bytes, and by its name where bytes do not decide."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from spinfloor.adapters.recordings import arrow_file, hdf5_file, json_file, matlab_file
from spinfloor.adapters.recordings.chapter10.reader import looks_like_chapter10, read_chapter10
from spinfloor.adapters.recordings.csv_file import read_csv
from spinfloor.adapters.recordings.mavlink_file import looks_like_log, read_mavlink_log
from spinfloor.adapters.recordings.parquet_file import read_parquet
from spinfloor.adapters.recordings.recording import RecordingError, RecordingMissingError, Source
from spinfloor.core.plan.channel_map import ChannelMap

Reader = Callable[[Path], Source]
_HEAD = 4096
_STARTS: tuple[tuple[bytes, Reader], ...] = (
    (b"PAR1", read_parquet),
    (arrow_file.FILE_MAGIC, arrow_file.read_arrow),
    (hdf5_file.SIGNATURE, hdf5_file.read_hdf5),
    (matlab_file.SIGNATURE, matlab_file.read_matlab),
)
_SUFFIXES: dict[str, Reader] = {
    ".parquet": read_parquet,
    ".pq": read_parquet,
    ".arrow": arrow_file.read_arrow,
    ".arrows": arrow_file.read_arrow,
    ".feather": arrow_file.read_arrow,
    ".h5": hdf5_file.read_hdf5,
    ".hdf5": hdf5_file.read_hdf5,
    ".json": json_file.read_json,
    ".ndjson": json_file.read_json,
    ".msgpack": json_file.read_packed,
}


def decode(path: Path, channel_map: ChannelMap | None = None) -> Source:
    """The file decoded into its own tables; channel_map: for formats that need a frame layout to be read at all.

    Raises RecordingMissingError when it cannot be opened, RecordingError when it is no recording we can read.
    """
    head = _head(path)
    if not head:
        raise RecordingError(
            expected="a recording", got=f"{path.name}, an empty file", now="there is nothing to read", path=path.name
        )
    if looks_like_chapter10(head) or path.suffix.lower() in (".ch10", ".c10"):
        return read_chapter10(path, channel_map)
    if looks_like_log(head) or path.suffix.lower() == ".tlog":
        return read_mavlink_log(path, channel_map)
    reader = _by_content(head) or _SUFFIXES.get(path.suffix.lower()) or (read_csv if _is_text(head) else None)
    if reader is None:
        raise RecordingError(
            expected="a recording in Parquet, CSV, JSON, MessagePack, Arrow, HDF5, MATLAB, IRIG 106 Chapter 10 or MAVLink "
            "log form",
            got=f"{path.name}, whose contents are none of these",
            now="nothing was read",
            path=path.name,
        )
    return reader(path)


def _head(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise IsADirectoryError(path)
        with path.open("rb") as file:
            return file.read(_HEAD)
    except (OSError, ValueError) as error:
        raise RecordingMissingError(
            expected="a recording that can be opened",
            got=f"{path.name or path}, which {_why(error)}",
            now="nothing was read",
            path=path.name,
        ) from error


def _why(error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return "does not exist"
    if isinstance(error, IsADirectoryError):
        return "is a folder"
    if isinstance(error, PermissionError):
        return "may not be read by this user"
    return "cannot be opened"


def _by_content(head: bytes) -> Reader | None:
    for start, reader in _STARTS:
        if head.startswith(start):
            return reader
    if head[512 : 512 + len(hdf5_file.SIGNATURE)] == hdf5_file.SIGNATURE:  # MATLAB v7.3 puts its own header first
        return hdf5_file.read_hdf5
    if json_file.looks_like_json(head):
        return json_file.read_json
    return json_file.read_packed if json_file.looks_like_packed(head) else None


def _is_text(head: bytes) -> bool:
    return not any(byte < 9 or 13 < byte < 32 for byte in head)
