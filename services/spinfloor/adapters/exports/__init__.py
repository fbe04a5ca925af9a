"""What leaves the product: events, frames and spins as JSON, NDJSON, CSV, Parquet and Arrow."""

from spinfloor.adapters.exports.events import encode_events, events_table
from spinfloor.adapters.exports.formats import Format, accepted_format, accepted_or
from spinfloor.adapters.exports.frames import encode_frames
from spinfloor.adapters.exports.spins import encode_spins
from spinfloor.adapters.exports.streams import EventStream, Piece, stream_frames

__all__ = [
    "EventStream",
    "Format",
    "Piece",
    "accepted_format",
    "accepted_or",
    "encode_events",
    "encode_frames",
    "encode_spins",
    "events_table",
    "stream_frames",
]
