"""JSON and MessagePack recordings, in the forms the service takes and gives: batches, and frames line by line.

A batch is `{"columns": {name: [..]}}`, whatever stands beside it, or the columns alone. A file holds one, or one a line; or
an object for each frame, a line each or in one list. In MessagePack it is one batch or a list of frames; a column may be
`bin` (little-endian float64, int64 for time_ns).
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import msgspec
import orjson
import pyarrow as pa

from spinfloor.adapters.recordings.recording import Notes, RecordingError, Source
from spinfloor.adapters.recordings.tabular import table_from_arrow
from spinfloor.ingest.batches import packed

_JSON: Final = re.compile(rb"(\xef\xbb\xbf)?\s*(\{|\[\s*\{)")
_PACKED: Final = re.compile(rb"[\x81-\x8f](\xa6source|\xa8sequence|\xa7columns)")
_FRAMES_AT_ONCE: Final = 10_000

_Object = Mapping[str, Any]


def looks_like_json(head: bytes) -> bool:
    """An object, or a list of them."""
    return _JSON.match(head) is not None


def looks_like_packed(head: bytes) -> bool:
    """A MessagePack map that begins as a batch does."""
    return _PACKED.match(head) is not None


def read_json(path: Path) -> Source:
    """All batches or frames of the file behind one another. Raises RecordingError when there is none."""
    notes = Notes()
    with path.open("rb") as file:
        first, more = _loaded(file.readline()), file.read(1)
    whole = None if isinstance(first, dict) and more else _loaded(path.read_bytes())
    if whole is None:
        return _source("ndjson", path, _lines(path, notes), notes)
    return _source("json", path, whole if isinstance(whole, list) else [whole], notes)


def read_packed(path: Path) -> Source:
    """The one batch of the file. Raises RecordingError when there is none."""
    try:
        found = msgspec.msgpack.decode(path.read_bytes())
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError):
        found = None
    return _source("msgpack", path, found if isinstance(found, list) else [found], Notes())


def _source(form: str, path: Path, objects: Iterable[Any], notes: Notes) -> Source:
    tables = list(_tables((one for one in objects if isinstance(one, dict)), notes))
    if not tables:
        raise RecordingError(
            expected='a batch {"columns": {name: [..]}} or an object for each frame',
            got=f"{path.name}, which has none that can be read",
            now="nothing was read",
            path=path.name,
        )
    table = pa.concat_tables(tables, promote_options="permissive")
    return Source(form, (table_from_arrow("table", table, notes),), notes)


def _loaded(text: bytes) -> Any:
    """The value, None for what is none. JSON has no NaN, but many writers put it."""
    try:
        return orjson.loads(text)
    except orjson.JSONDecodeError:
        pass
    try:
        return json.loads(text.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return None


def _lines(path: Path, notes: Notes) -> Iterator[_Object]:
    with path.open("rb") as file:
        for number, text in enumerate(file, start=1):
            found = _loaded(text)
            if isinstance(found, dict):
                yield found
            elif text.strip():
                notes.add(f"line {number}", "line is no JSON object; left out")


def _tables(objects: Iterable[_Object], notes: Notes) -> Iterator[pa.Table]:
    """A table for each batch and for each run of frames."""
    for is_batch, alike in itertools.groupby(objects, key=lambda one: _columns(one) is not None):
        if is_batch:
            for batch in alike:
                yield from _table(_columns(batch) or {}, notes)
            continue
        while frames := list(itertools.islice(alike, _FRAMES_AT_ONCE)):
            names = dict.fromkeys(name for frame in frames for name in frame)
            yield from _table({name: [frame.get(name) for frame in frames] for name in names}, notes)


def _columns(one: _Object) -> _Object | None:
    """Of a batch, or columns alone; None: a frame, which has one value under each name."""
    named = one.get("columns")
    if isinstance(named, dict):
        return named
    return one if any(isinstance(value, list | bytes) for value in one.values()) else None


def _table(columns: Mapping[Any, Any], notes: Notes) -> Iterator[pa.Table]:
    named = {str(name).encode("utf-8", "replace").decode()[:80]: values for name, values in columns.items()}
    arrays = {name: _array(name, values, notes) for name, values in named.items()}
    there = {name: array for name, array in arrays.items() if array is not None}
    if len({len(array) for array in there.values()}) > 1:
        notes.add("a batch", "its columns are not equally long; left out")
    elif there:
        yield pa.table(there)


def _array(name: str, values: Any, notes: Notes) -> pa.Array | None:
    """Whole numbers stay whole, because a float cannot hold nanoseconds since 1970. What is no number is noted and left out,
    where a link refuses its batch: nobody can send a recording again."""
    if isinstance(values, bytes) and len(values) % 8 == 0:
        return pa.array(packed(name, values))
    if not isinstance(values, list):
        notes.add(f"column {name}", "is no list of numbers; left out")
        return None
    try:
        array = pa.array(values)
        if array.type in (pa.int64(), pa.float64(), pa.null()):
            return array
    except (pa.ArrowException, OverflowError, UnicodeError):  # of several kinds, or longer than 64 bits
        pass
    numbers = [_number(value) for value in values]
    bad = sum(number is None and value is not None for number, value in zip(numbers, values, strict=True))
    if bad:
        notes.add(f"column {name}", f"cell(s) of {name} that are not numbers; read as missing", bad)
    return pa.array(numbers, pa.float64())


def _number(value: Any) -> float | None:
    try:
        return float(value) if isinstance(value, int | float) else None
    except OverflowError:
        return None
