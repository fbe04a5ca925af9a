"""The export formats, their media types, and an Arrow table in each of them."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, Final, TypeVar

import orjson
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from spinfloor.core.errors import SpinfloorError


class Format(StrEnum):
    """Names as used by `--format`; `arrow` is the IPC stream form, `arrow-file` the form that is read by place."""

    JSON = "json"
    NDJSON = "ndjson"
    CSV = "csv"
    PARQUET = "parquet"
    ARROW = "arrow"
    ARROW_FILE = "arrow-file"

    @property
    def media_type(self) -> str:
        """The Content-Type it is served under."""
        return MEDIA_TYPES[self]


MEDIA_TYPES: Final[Mapping[Format, str]] = {
    Format.JSON: "application/json",
    Format.NDJSON: "application/x-ndjson",
    Format.CSV: "text/csv; charset=utf-8",
    Format.PARQUET: "application/vnd.apache.parquet",
    Format.ARROW: "application/vnd.apache.arrow.stream",
    Format.ARROW_FILE: "application/vnd.apache.arrow.file",
}
Named = TypeVar("Named")
_ALSO = {
    "application/ndjson": Format.NDJSON,
    "application/jsonl": Format.NDJSON,
    "application/x-parquet": Format.PARQUET,
    "application/parquet": Format.PARQUET,
    "application/arrow": Format.ARROW,
    "application/x-arrow": Format.ARROW,
    "*/*": Format.JSON,
    "application/*": Format.JSON,
    "text/*": Format.CSV,
    "": Format.JSON,
}
_KNOWN: Final = {m.split(";")[0]: f for f, m in MEDIA_TYPES.items()} | _ALSO


class ExportFormatError(SpinfloorError):
    """A format nobody here can write."""

    code = "unknown-format"
    http_status = 406


def accepted_format(accept: str) -> Format:
    """The first format of an HTTP Accept header we can write, by quality. Raises ExportFormatError when none is."""
    return first_accepted(accept, _KNOWN, [m.split(";")[0] for m in MEDIA_TYPES.values()])


def accepted_or(media_type: str, accept: str) -> Format | None:
    """The same where one more media type is there; None: that is asked for first."""
    said = [*(m.split(";")[0] for m in MEDIA_TYPES.values()), media_type]
    return first_accepted(accept, {**_KNOWN, media_type: None}, said)


def first_accepted(accept: str, known: Mapping[str, Named], said: Sequence[str]) -> Named:
    """What the header asks for first, by quality and then order; `known` has the ranges too. Raises ExportFormatError."""
    offers: list[tuple[float, int, Named]] = []
    for i, part in enumerate(accept.split(",")):
        media, *parameters = (p.strip().lower() for p in part.split(";"))
        quality = _quality(parameters)
        if media in known and quality > 0.0:
            offers.append((-quality, i, known[media]))
    if not offers:
        raise ExportFormatError(
            expected="an Accept header naming one of " + ", ".join(said),
            got=repr(accept[:80]),
            now="nothing was sent",
        )
    return min(offers, key=lambda offer: offer[:2])[2]


def _quality(parameters: Sequence[str]) -> float:
    for parameter in parameters:
        if parameter.startswith("q="):
            try:
                return min(max(float(parameter[2:]), 0.0), 1.0)
            except ValueError:
                return 0.0
    return 1.0


def encode_records(records: Sequence[Mapping[str, object]], form: Format) -> bytes:
    """Records as one JSON array or as NDJSON lines; NaN becomes null."""
    if form is Format.JSON:
        return orjson.dumps(records, option=orjson.OPT_SERIALIZE_NUMPY)
    return b"".join(orjson.dumps(r, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_APPEND_NEWLINE) for r in records)


def parquet_options(schema: pa.Schema) -> dict[str, Any]:
    """How tables are written: zstd over encodings that suit measured numbers.

    Hardly two of them are alike, so that a dictionary (the library's default) costs time and room for nothing; the bytes
    of floats one kind after the other, and the steps of whole numbers, compress better and are read more quickly.
    """
    floats = [field.name for field in schema if pa.types.is_float64(field.type)]
    whole = [field.name for field in schema if pa.types.is_int64(field.type)]
    return {
        "compression": "zstd",
        "write_page_checksum": True,
        "use_dictionary": [field.name for field in schema if field.name not in {*floats, *whole}],
        "column_encoding": {
            **dict.fromkeys(floats, "BYTE_STREAM_SPLIT"),
            **dict.fromkeys(whole, "DELTA_BINARY_PACKED"),
        },
    }


def encode_table(table: pa.Table, form: Format) -> bytes:
    """A table as CSV, Parquet (zstd) or Arrow IPC, stream or file."""
    buffer = io.BytesIO()
    if form is Format.CSV:
        pacsv.write_csv(table, buffer)
    elif form is Format.PARQUET:
        pq.write_table(table, buffer, **parquet_options(table.schema))
    elif form in (Format.ARROW, Format.ARROW_FILE):
        begun = pa.ipc.new_stream if form is Format.ARROW else pa.ipc.new_file
        with begun(buffer, table.schema) as writer:
            writer.write_table(table)
    else:
        raise ValueError(f"{form} is not a table format")
    return buffer.getvalue()
