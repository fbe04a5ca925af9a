"""JSON answers by orjson: NaN becomes null, NumPy scalars are taken as they are."""

from collections.abc import AsyncIterator
from typing import Any

import orjson
from starlette.responses import Response, StreamingResponse

from spinfloor.adapters.exports import Format, Piece


class Json(Response):
    """A JSON response."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """Bytes of the body."""
        return orjson.dumps(content, option=orjson.OPT_SERIALIZE_NUMPY)


async def streamed(pieces: AsyncIterator[Piece], form: Format) -> Response:
    """Sent piece by piece. What goes wrong before the first is a problem; later the answer ends in the middle, which the
    receiver sees by its last chunk that is missing."""
    first = await anext(pieces, b"")

    async def all_of_them() -> AsyncIterator[Piece]:
        yield first
        async for piece in pieces:
            yield piece

    return StreamingResponse(all_of_them(), media_type=form.media_type)
