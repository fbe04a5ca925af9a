"""What comes over a live link, decoded: labelled values and MAVLink. No sockets here; bytes in, frames out."""

from spinfloor.adapters.links.labelled import LabelledValues
from spinfloor.adapters.links.mavlink import MavlinkLink

__all__ = ["LabelledValues", "MavlinkLink"]
