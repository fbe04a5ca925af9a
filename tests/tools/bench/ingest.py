"""Part 2: frames a second into a real service until they are on disk, against decoding alone and against the disk."""

from __future__ import annotations

import asyncio
import io
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import httpx
import msgspec
import numpy as np
import orjson
import pyarrow.parquet as pq
from tests.tools.bench import data
from tests.tools.bench.table import Row
from tests.tools.bench.timing import best_s, syncs_ms
from websockets.asyncio.client import connect

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.client import encode_batch
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_to_data
from spinfloor.ports.wire import encode_block

BATCH: Final = 2_000
PACKET: Final = 2  # frames of a live packet: 20 ms at 100 Hz
UNANSWERED: Final = 4
SOURCE: Final = "bench"


@dataclass(frozen=True, slots=True)
class Form:
    """A way to send a batch, and the decoder that sets its limit."""

    key: str
    words: str
    media: str
    encode: Callable[[int, FrameBlock], bytes]
    decode: Callable[[bytes], Any]
    decoder: str
    in_query: bool = False


def _json(sequence: int, block: FrameBlock) -> bytes:
    columns = data.edge_columns(block)
    batch = {"source": SOURCE, "sequence": sequence, "columns": columns}
    return orjson.dumps(batch, option=orjson.OPT_SERIALIZE_NUMPY)


def _msgpack(sequence: int, block: FrameBlock) -> bytes:
    columns = {name: values.tolist() for name, values in data.edge_columns(block).items()}
    return msgspec.msgpack.encode({"source": SOURCE, "sequence": sequence, "columns": columns})


def _packed(sequence: int, block: FrameBlock) -> bytes:
    return encode_batch(SOURCE, sequence, block)


def _decode_all(form: Form, bodies: list[bytes]) -> None:
    for body in bodies:
        form.decode(body)


def unpacked(body: bytes) -> Any:
    """Packed columns to numbers in one place: what decoding them comes to."""
    columns = msgspec.msgpack.decode(body)["columns"]
    return np.array([np.frombuffer(c, "<f8") for c in columns.values()])


FORMS: Final = (
    Form("json", "JSON", "application/json", _json, orjson.loads, "orjson"),
    Form("msgpack", "MessagePack lists", "application/msgpack", _msgpack, msgspec.msgpack.decode, "msgspec"),
    Form("packed", "MessagePack packed columns", "application/msgpack", _packed, unpacked, "msgspec and numpy"),
    Form(
        "parquet", "Parquet", Format.PARQUET.media_type, lambda _, block: encode_frames(block, Format.PARQUET),
        lambda body: pq.ParquetFile(io.BytesIO(body)).read(use_threads=False), "pyarrow", in_query=True,
    ),
)  # fmt: skip


def run(base: str, folder: Path, scale: float) -> list[Row]:
    """All rows of this part. base: the service; folder: on the disk that the service writes to."""
    frames = max(BATCH * UNANSWERED, round(100_000 * scale))
    block = data.sets(-(-frames // len(data.one_set(0)))).slice(0, frames)
    blocks = [block.slice(i, min(i + BATCH, frames)) for i in range(0, frames, BATCH)]
    sync_s = syncs_ms(folder, len(encode_block(blocks[0])), count=100)[0] * 1e-3
    disk = BATCH / sync_s
    rows = [Row("disk", f"the disk alone: {BATCH:,} frames written and synced at a time", disk, "frames/s")]
    for form in FORMS:
        bodies = [form.encode(n, part) for n, part in enumerate(blocks)]
        decode_s = best_s(partial(_decode_all, form, bodies))
        taken_s = asyncio.run(_post_all(base, form, bodies))
        rate, limit = frames / taken_s, frames / decode_s
        what = f"ingest until on disk, {form.words}"
        rows.append(Row(f"ingest_{form.key}", what, rate, "frames/s", rate / limit, f"{form.decoder} decoding alone"))
        rows.append(Row(f"ingest_{form.key}_disk", what, rate, "frames/s", rate / disk, "the disk alone"))
    return [*rows, packets_row(base, folder, block, scale)]


async def _sortie(http: httpx.AsyncClient, name: str) -> str:
    answer = await http.post("/v1/sorties", params={"id": name}, json=plan_to_data(data.plan()))
    answer.raise_for_status()
    return name


async def _post_all(base: str, form: Form, bodies: list[bytes]) -> float:
    """Seconds until every batch was acknowledged, UNANSWERED of them under way at a time; one goes before, untimed."""
    async with httpx.AsyncClient(base_url=base, timeout=60.0, trust_env=False) as http:
        sortie = await _sortie(http, f"ingest-{form.key}-{time.monotonic_ns()}")
        queue = list(enumerate(bodies))[::-1]

        async def send_until(left: int) -> None:
            while len(queue) > left:
                sequence, body = queue.pop()
                query: dict[str, str | int] = {"source": SOURCE, "sequence": sequence} if form.in_query else {}
                answer = await http.post(
                    f"/v1/sorties/{sortie}/frames", content=body, params=query, headers={"content-type": form.media}
                )
                answer.raise_for_status()

        await send_until(len(bodies) - 1)
        begun = time.perf_counter()
        await asyncio.gather(*(send_until(0) for _ in range(UNANSWERED)))
        return (time.perf_counter() - begun) * len(bodies) / (len(bodies) - 1)


def packets_row(base: str, folder: Path, block: FrameBlock, scale: float) -> Row:
    """Live packets on one socket, as many unanswered as it allows: how many share a sync of the disk."""
    count = max(50, min(len(block) // PACKET, round(3_000 * scale)))
    packets = [_packed(n, block.slice(n * PACKET, (n + 1) * PACKET)) for n in range(count)]
    each_s = syncs_ms(folder, len(encode_block(block.slice(0, PACKET))))[0] * 1e-3
    taken_s = asyncio.run(_stream(base, packets)) / count
    what = f"live packets of {PACKET} frames acknowledged on one socket"
    return Row("packets", what, 1.0 / taken_s, "packets/s", each_s / taken_s, "one disk sync for each")


async def _stream(base: str, packets: list[bytes]) -> float:
    async with httpx.AsyncClient(base_url=base, timeout=60.0, trust_env=False) as http:
        sortie = await _sortie(http, f"packets-{time.monotonic_ns()}")
    url = base.replace("http", "ws", 1) + f"/v1/sorties/{sortie}/frames"
    async with connect(url, proxy=None, compression=None) as socket:
        begun = time.perf_counter()

        async def answers() -> None:
            for _ in packets:
                answer = await socket.recv()
                assert isinstance(answer, bytes)
                if b"acked" not in answer:
                    raise RuntimeError(f"a packet was refused: {answer[:200]!r}")

        reading = asyncio.create_task(answers())
        for packet in packets:
            await socket.send(packet)
        await reading
        return time.perf_counter() - begun
