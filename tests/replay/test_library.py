"""Folders of a team's own recordings: whatever lies in them, the list can be had."""

from __future__ import annotations

import os
from pathlib import Path

import orjson
import pytest

from spinfloor.replay.library import LibraryEntry, read_library


def listed(folder: Path) -> dict[str, LibraryEntry]:
    found = {entry.id: entry for entry in read_library([folder])}
    assert orjson.dumps([entry.as_record() for entry in found.values()])
    return found


def test_every_form_of_recording_is_found_with_its_plan_beside_it(tmp_path: Path) -> None:
    forms = ("parquet", "csv", "arrow", "json", "ndjson", "msgpack", "h5", "mat", "ch10", "tlog", "TXT")
    for form in forms:
        (tmp_path / f"in {form}.{form}").write_bytes(b"x")
        (tmp_path / f"in {form}.plan.yaml").write_bytes(b"x")
        (tmp_path / f"in {form}.md").write_bytes(b"x")
    (tmp_path / "other.json").write_bytes(b"{}")  # no plan: any file may end so
    (tmp_path / "alone.csv").write_bytes(b"x")
    found = listed(tmp_path)
    assert set(found) == {"alone", *(f"in {form}" for form in forms)}
    assert [name for name, entry in found.items() if entry.plan is None] == ["alone"]


def test_folders_and_links_to_nowhere_are_no_recordings(tmp_path: Path) -> None:
    (tmp_path / "folder.parquet").mkdir()
    (tmp_path / "loop.parquet").symlink_to("loop.parquet")
    (tmp_path / "gone.csv").symlink_to("nothing.csv")
    assert listed(tmp_path) == {}


def test_names_and_notes_that_are_no_utf_8_are_shown_as_far_as_they_are_text(tmp_path: Path) -> None:
    for ending in (b".parquet", b".md"):
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/flug \xfcber" + ending)).write_bytes(b"\xfcber")
    (entry,) = listed(tmp_path).values()
    assert entry.id == "flug \ufffdber"
    assert entry.path.read_bytes() == b"\xfcber"
    assert entry.as_record()["notes"] == "\ufffdber"


@pytest.mark.parametrize(
    "index",
    [
        b"recordings: [",
        b"\xff",
        b"",
        b"- 1",
        b"recordings: 5",
        b"recordings: [5]",
        b"recordings: [{id: 7}]",
        b"other: 1",
    ],
)
def test_beside_a_damaged_index_the_files_are_found(tmp_path: Path, index: bytes) -> None:
    (tmp_path / "index.yaml").write_bytes(index)
    (tmp_path / "one.csv").write_bytes(b"x")
    assert set(listed(tmp_path)) == {"one"}


def test_an_index_names_what_there_is(tmp_path: Path) -> None:
    (tmp_path / "index.yaml").write_text("recordings: [{id: 7, file: one.csv}, {id: gone, file: gone.csv}]")
    (tmp_path / "one.csv").write_bytes(b"x")
    (tmp_path / "two.csv").write_bytes(b"x")
    assert set(listed(tmp_path)) == {"7"}
