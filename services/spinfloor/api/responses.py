"""JSON answers by orjson: NaN becomes null, NumPy scalars are taken as they are."""

from typing import Any

import orjson
from starlette.responses import Response


class Json(Response):
    """A JSON response."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """Bytes of the body."""
        return orjson.dumps(content, option=orjson.OPT_SERIALIZE_NUMPY)
