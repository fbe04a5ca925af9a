"""The recordings there are to rehearse with: folders with an index, or just files with a plan beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import yaml

from spinfloor.core.errors import SpinfloorError

SUFFIXES: Final = (".parquet", ".csv")
INDEX: Final = "index.yaml"


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
        notes = self.notes.read_text(encoding="utf-8") if self.notes is not None and self.notes.is_file() else ""
        return {
            "id": self.id,
            "title": self.title,
            "summary": self.summary,
            "file": self.path.name,
            "has_plan": self.plan is not None,
            "notes": notes,
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
    index = folder / INDEX
    if not index.is_file():
        return []
    listed = (yaml.safe_load(index.read_text(encoding="utf-8")) or {}).get("recordings", [])
    return [_entry(folder, item) for item in listed if (folder / item["file"]).is_file()]


def _entry(folder: Path, item: dict[str, Any]) -> LibraryEntry:
    def beside(name: str) -> Path | None:
        return folder / item[name] if item.get(name) and (folder / item[name]).is_file() else None

    path = folder / item["file"]
    return LibraryEntry(
        item["id"], item.get("title", item["id"]), item.get("summary", ""), path, beside("plan"), beside("notes")
    )


def _found(folder: Path) -> list[LibraryEntry]:
    entries = []
    for path in sorted(folder.iterdir()):
        if path.suffix in SUFFIXES and not path.stem.endswith(".truth"):
            plan = folder / f"{path.stem}.plan.yaml"
            notes = folder / f"{path.stem}.md"
            entries.append(
                LibraryEntry(
                    path.stem,
                    path.stem.replace("_", " ").replace("-", " "),
                    "",
                    path,
                    plan if plan.is_file() else None,
                    notes if notes.is_file() else None,
                )
            )
    return entries
