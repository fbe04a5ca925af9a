"""Writing a sortie's archive: part by part into a folder, then all of them into one zip. The same sortie, the same bytes."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import orjson

from spinfloor.adapters.sortie_file import layout
from spinfloor.adapters.sortie_file.frames_table import FramesWriter
from spinfloor.adapters.sortie_file.lines import line_of
from spinfloor.core.caution import CAUTION
from spinfloor.core.events import Event
from spinfloor.ports.inputs import FramesInput, Input

_EPOCH: Final = (1980, 1, 1, 0, 0, 0)  # the zip's own time stamps tell nothing
_CHUNK: Final = 1 << 20
_INDENTED: Final = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE | orjson.OPT_SORT_KEYS


class ArchiveWriter:
    """`add_inputs` and `add_events` as often as needed, then `finish`. folder: an empty one, for the parts."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._frames = FramesWriter(folder / layout.FRAMES)
        self._inputs = (folder / layout.INPUTS).open("wb")
        self._events = (folder / layout.EVENTS).open("wb")
        self._reruns = (folder / layout.RERUNS).open("wb")
        self._counts = {"inputs": 0, "events": 0}

    def add_inputs(self, inputs: Sequence[Input]) -> None:
        """The next inputs, in journal order."""
        for one in inputs:
            self._inputs.write(line_of(one))
            if isinstance(one, FramesInput):
                self._frames.add(one.block)
        self._counts["inputs"] += len(inputs)

    def add_events(self, events: Sequence[Event]) -> None:
        """The next events of the flown run."""
        self._events.writelines(_lines(event.as_record() for event in events))
        self._counts["events"] += len(events)

    def add_rerun(self, events: Sequence[Event]) -> None:
        """The next events of a run made aside."""
        self._reruns.writelines(_lines(event.as_record() for event in events))

    def finish(
        self, facts: Mapping[str, Any], parts: Mapping[str, object], actions: Iterable[Mapping[str, Any]]
    ) -> Path:
        """The zip, in the folder. facts: the manifest's own fields; parts: JSON of plan, settings, beliefs, notes."""
        self.close()
        for name, value in parts.items():
            (self._folder / name).write_bytes(orjson.dumps(value, option=_INDENTED))
        (self._folder / layout.ACTIONS).write_bytes(b"".join(_lines(actions)))
        (self._folder / layout.README).write_text(layout.README_TEXT, encoding="utf-8")
        manifest = {
            "format": layout.FORMAT, "version": layout.VERSION, **facts, **self._counts, "frames": self._frames.frames,
            "caution": CAUTION, "parts": {name: _facts(self._folder / name) for name in layout.PARTS},
        }  # fmt: skip
        checked = layout.manifest_of(orjson.dumps(manifest))
        body = orjson.dumps(checked.model_dump(mode="json"), option=orjson.OPT_INDENT_2)
        return self._zip(body)

    def close(self) -> None:
        """End the open parts; for use when something went wrong, `finish` does it too."""
        for file in (self._inputs, self._events, self._reruns):
            file.close()
        self._frames.close()

    def _zip(self, manifest: bytes) -> Path:
        path = self._folder / "archive.zip"
        with zipfile.ZipFile(path, "w") as zipped:
            zipped.writestr(_entry(layout.MANIFEST), manifest)
            for name in layout.PARTS:
                with (self._folder / name).open("rb") as source, zipped.open(_entry(name), "w") as target:
                    while piece := source.read(_CHUNK):
                        target.write(piece)
        return path


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.compress_type = zipfile.ZIP_STORED if name == layout.FRAMES else zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    return entry


def _facts(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"bytes": path.stat().st_size, "sha256": digest}


def _lines(records: Iterable[Mapping[str, Any]]) -> Iterable[bytes]:
    return (orjson.dumps(record, option=orjson.OPT_APPEND_NEWLINE | orjson.OPT_SERIALIZE_NUMPY) for record in records)
