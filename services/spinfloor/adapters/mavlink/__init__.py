"""MAVLink telemetry, from a log or a link: pymavlink decodes, everything else is here."""

from spinfloor.adapters.mavlink.decoder import MavlinkDecoder, MavSample
from spinfloor.adapters.mavlink.default_map import default_map

__all__ = ["MavSample", "MavlinkDecoder", "default_map"]
