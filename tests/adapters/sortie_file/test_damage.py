"""Any damage to an archive ends in its one error, or changes nothing that is in it."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import mkdtemp

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.archive.archived import archive_bytes

from spinfloor.adapters.sortie_file import ArchiveError, SortieFile, open_archive
from spinfloor.ports.wire import encode_input


def content(opened: SortieFile) -> object:
    inputs = [(encode_input(one), one.received_ns) for one in opened.inputs()]
    return opened.manifest, opened.plan_data, opened.beliefs, opened.notes, opened.actions, inputs, opened.events()


def taken(data: bytes, folder: Path) -> object | None:
    """What is in it, None for the one error."""
    parts = Path(mkdtemp(dir=folder))
    (folder / "a.zip").write_bytes(data)
    sentence = ""
    try:
        return content(open_archive(folder / "a.zip", parts))
    except ArchiveError as error:
        sentence = error.sentence
    finally:
        shutil.rmtree(parts)
    assert sentence.startswith("Expected the whole, undamaged archive of a sortie; got a file in which ")
    assert "\n" not in sentence
    return None


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_damage(tmp_path: Path, data: st.DataObject) -> None:
    bad = bytearray(archive_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        end = data.draw(st.sampled_from([len(bad) - 1, 2000]))  # the small parts and the directory are hit as well
        place = data.draw(st.integers(0, end))
        bad[place if data.draw(st.booleans()) else len(bad) - 1 - place] ^= data.draw(st.integers(1, 255))
    found = taken(bytes(bad), tmp_path)
    assert found is None or found == content_of_whole(tmp_path)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.floats(0.0, 0.9999))
def test_any_cut_is_noticed(tmp_path: Path, cut: float) -> None:
    assert taken(archive_bytes()[: int(cut * len(archive_bytes()))], tmp_path) is None


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=400), start=st.sampled_from([b"", b"PK\x03\x04", b"PK\x05\x06"]))
def test_any_bytes_are_refused(tmp_path: Path, data: bytes, start: bytes) -> None:
    assert taken(start + data, tmp_path) is None


_KEPT: list[object] = []


def content_of_whole(folder: Path) -> object:
    if not _KEPT:
        _KEPT.append(taken(archive_bytes(), folder))
    return _KEPT[0]
