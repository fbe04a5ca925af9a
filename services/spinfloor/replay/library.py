"""The recordings there are to rehearse with: folders with an index, or just files with a plan beside them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import yaml

from spinfloor.core.errors import SpinfloorError

SUFFIXES: Final = (".parquet", ".csv")  # recordings also without a plan beside them
WITH_PLAN: Final = (
    *SUFFIXES, ".arrow", ".feather", ".ipc", ".json", ".jsonl", ".ndjson", ".msgpack", ".tsv", ".txt", ".dat", ".h5",
    ".hdf5", ".mat", ".ch10", ".c10", ".tlog", ".mavlink", ".bin",
)  # fmt: skip
INDEX: Final = "index.yaml"
PLAN: Final = ".plan.yaml"


class UnknownRecordingError(SpinfloorError):
    """No recording of that name in the library."""

    code = "unknown-recording"
    http_status = 404


@dataclass(frozen=True, slots=True)
class LibraryEntry:
    """One recording: its files, its title and what it is about."""

    id: str
    title: str
    summary: str
    path: Path
    plan: Path | None
    notes: Path | None

    def as_record(self) -> dict[str, object]:
        """For the list; the notes (Markdown) travel along because they are short."""
        there = self.notes is not None and self.notes.is_file()
        return {
            "id": self.id,
            "title": self.title,
            "summary": self.summary,
            "file": _readable(self.path.name),
            "has_plan": self.plan is not None,
            "notes": self.notes.read_text(encoding="utf-8", errors="replace") if self.notes and there else "",
        }


def own_recordings() -> Path | None:
    """The rehearsal recordings that come with the product: in the package, or two levels above it in a source tree."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "replay_data", package.parents[1] / "replay_data"):
        if folder.is_dir():
            return folder
    return None


def read_library(folders: Sequence[Path]) -> list[LibraryEntry]:
    """All recordings, the folders in order; a name met twice counts once."""
    entries: dict[str, LibraryEntry] = {}
    for folder in folders:
        if folder.is_dir():
            for entry in _indexed(folder) or _found(folder):
                entries.setdefault(entry.id, entry)
    return list(entries.values())


def find(folders: Sequence[Path], name: str) -> LibraryEntry:
    """One by name. Raises UnknownRecordingError."""
    entries = read_library(folders)
    for entry in entries:
        if entry.id == name:
            return entry
    raise UnknownRecordingError(
        expected="a recording of the library: " + (", ".join(e.id for e in entries) or "there is none"),
        got=repr(name[:120]),
        now="nothing was started",
    )


def _indexed(folder: Path) -> list[LibraryEntry]:
    """What the folder's index names; nothing where it is damaged or of another kind: the files are then found."""
    try:
        listed = yaml.safe_load((folder / INDEX).read_text(encoding="utf-8"))["recordings"]
        return [_entry(folder, item) for item in listed if (folder / item["file"]).is_file()]
    except (OSError, ValueError, yaml.YAMLError, TypeError, KeyError, AttributeError):
        return []


def _entry(folder: Path, item: dict[str, Any]) -> LibraryEntry:
    def beside(name: str) -> Path | None:
        return folder / item[name] if item.get(name) and (folder / item[name]).is_file() else None

    path, name = folder / item["file"], str(item["id"])
    return LibraryEntry(
        name, str(item.get("title", name)), str(item.get("summary", "")), path, beside("plan"), beside("notes")
    )


def _found(folder: Path) -> list[LibraryEntry]:
    entries = []
    for path in sorted(folder.iterdir()):
        plan, notes = folder / f"{path.stem}{PLAN}", folder / f"{path.stem}.md"
        endings = WITH_PLAN if plan.is_file() else SUFFIXES
        if path.suffix.lower() in endings and path.is_file() and not path.stem.endswith(".truth"):
            name = _readable(path.stem)
            entries.append(
                LibraryEntry(
                    name,
                    name.replace("_", " ").replace("-", " "),
                    "",
                    path,
                    plan if plan.is_file() else None,
                    notes if notes.is_file() else None,
                )
            )
    return entries


def _readable(name: str) -> str:
    """A file's name as text: bytes in it that are no UTF-8 could be put into no answer."""
    return os.fsencode(name).decode("utf-8", "replace")
