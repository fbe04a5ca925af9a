"""Reading a sortie's archive: every part is checked against its checksum before any of it is believed."""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import orjson

from spinfloor.adapters.sortie_file import layout
from spinfloor.adapters.sortie_file.events import check_reruns, check_run, read_events, record_of, text_lines
from spinfloor.adapters.sortie_file.frames_table import FramesReader
from spinfloor.adapters.sortie_file.layout import Manifest, PartFacts, damaged
from spinfloor.adapters.sortie_file.lines import FloorsLine, FramesLine, Line, input_of, parse_line
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event
from spinfloor.core.plan.load import plan_from
from spinfloor.core.plan.model import Floors, Plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.inputs import Input

_CHUNK: Final = 1 << 20
_BROKEN: Final = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, NotImplementedError, RuntimeError, ValueError, OverflowError,
    KeyError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SortieFile:
    """An archive whose parts are unpacked, checked against their checksums and parsed, the frames excepted."""

    folder: Path
    manifest: Manifest
    plan: Plan
    plan_data: dict[str, Any]
    beliefs: dict[str, Any] | None
    notes: dict[str, Any]
    actions: list[dict[str, Any]]

    def inputs(self) -> Generator[Input, None, None]:
        """Every input in order, read as it goes. Raises ArchiveError."""
        frames = FramesReader(self.folder / layout.FRAMES)
        try:
            for line in self._lines():
                yield input_of(line, frames.take(line.rows) if isinstance(line, FramesLine) else None)
        finally:
            frames.close()

    def _lines(self) -> Iterator[Line]:
        for number, text in text_lines(self.folder / layout.INPUTS):
            try:
                yield parse_line(text)
            except ValueError as error:
                raise damaged(f"line {number} of {layout.INPUTS} is no input ({error})"[:300]) from error

    def events(self) -> list[Event]:
        """The flown run's events."""
        return list(read_events(self.folder / layout.EVENTS))

    def reruns(self) -> list[Event]:
        """Events of the runs made aside."""
        return list(read_events(self.folder / layout.RERUNS))

    def check(self) -> None:
        """Everything that checksums do not show: that the parts fit together. Raises ArchiveError."""
        manifest = self.manifest
        lines = rows = 0
        for line in self._lines():
            lines += 1
            rows += line.rows if isinstance(line, FramesLine) else 0
            if isinstance(line, FloorsLine):
                _check_floors(line.floors, lines)
        frames = FramesReader(self.folder / layout.FRAMES)
        there = frames.frames
        frames.close()
        if (lines, rows, there) != (manifest.inputs, manifest.frames, manifest.frames):
            raise damaged("inputs, frames and manifest disagree on how many there are")
        check_run(self.events(), manifest.run, manifest.events)
        check_reruns(self.reruns(), manifest.reruns)


def open_archive(path: Path, folder: Path) -> SortieFile:
    """Unpack an archive into an empty folder and check all of it. Raises ArchiveError with what is wrong first."""
    try:
        with zipfile.ZipFile(path) as zipped:
            manifest = layout.manifest_of(_manifest(zipped))
            _unpack(zipped, manifest, folder)
    except _BROKEN as error:
        raise damaged(f"the zip itself is broken ({str(error)[:120] or type(error).__name__})") from error
    opened = _parsed(folder, manifest)
    opened.check()
    return opened


def _manifest(zipped: zipfile.ZipFile) -> bytes:
    names = [entry.filename for entry in zipped.infolist()]
    if sorted(names) != sorted((layout.MANIFEST, *layout.PARTS)):
        raise damaged("parts are missing, or there are others than an archive has")
    with zipped.open(layout.MANIFEST) as file:
        data = file.read(layout.MANIFEST_BYTES + 1)
    if len(data) > layout.MANIFEST_BYTES:
        raise damaged("the manifest is larger than any is")
    return data


def _unpack(zipped: zipfile.ZipFile, manifest: Manifest, folder: Path) -> None:
    for name in layout.PARTS:
        with zipped.open(name) as source:
            _copy(source, folder / name, name, manifest.parts[name])


def _copy(source: Any, target: Path, name: str, facts: PartFacts) -> None:
    """No more is unpacked than the manifest promises, whatever the zip says of its sizes."""
    digest, taken = hashlib.sha256(), 0
    with target.open("wb") as file:
        while piece := source.read(_CHUNK):
            taken += len(piece)
            if taken > facts.bytes:
                break
            digest.update(piece)
            file.write(piece)
    if taken != facts.bytes or digest.hexdigest() != facts.sha256:
        raise damaged(f"{name} does not match its checksum")


def _parsed(folder: Path, manifest: Manifest) -> SortieFile:
    plan_data, beliefs, notes = (_json(folder, name) for name in (layout.PLAN, layout.BELIEFS, layout.NOTES))
    if not isinstance(notes, dict) or not (beliefs is None or isinstance(beliefs, dict)):
        raise damaged("the notes or the beliefs are no JSON object")
    try:
        plan = plan_from(plan_data)
        if beliefs is not None:
            Beliefs.from_json(beliefs)
    except SpinfloorError as error:
        raise damaged(f"the plan or the beliefs are not valid here ({error.sentence})"[:600]) from error
    if plan.aircraft.name != manifest.aircraft:
        raise damaged("the plan is of another aircraft than the manifest says")
    actions = [record_of(number, text, layout.ACTIONS) for number, text in text_lines(folder / layout.ACTIONS)]
    return SortieFile(folder, manifest, plan, plan_data, beliefs, notes, actions)


def _json(folder: Path, name: str) -> Any:
    path = folder / name
    if path.stat().st_size > layout.SMALL_BYTES:
        raise damaged(f"{name} is larger than any is")
    try:
        return orjson.loads(path.read_bytes())
    except orjson.JSONDecodeError as error:
        raise damaged(f"{name} is no JSON") from error


def _check_floors(floors: dict[str, Any], number: int) -> None:
    try:
        Floors.model_validate(floors)
    except ValueError as error:
        raise damaged(f"line {number} of {layout.INPUTS} sets floors that are none") from error
