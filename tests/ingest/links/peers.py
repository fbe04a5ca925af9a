"""Real senders for link tests: an open flight-dynamics library over UDP and TCP, pymavlink's packer and socket."""

from __future__ import annotations

import contextlib
import os
import socket
from pathlib import Path
from typing import Any

os.environ["MAVLINK20"] = "1"  # read by pymavlink when it is imported

import jsbsim
from pymavlink import mavutil

MAP: dict[str, Any] = {
    "time": {"source": "Time", "unit": "s"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "Pressure", "unit": "psf"},
    },
}
OUTPUT = """<?xml version="1.0"?>
<output name="127.0.0.1" type="SOCKET" protocol="{protocol}" port="{port}" rate="20">
 <simulation>ON</simulation>
 <rates>ON</rates>
 <property caption="Pressure">atmosphere/P-psf</property>
</output>"""


def fly_over_tcp(folder: Path, port: int, seconds: float) -> list[tuple[float, float, float]]:
    """The same lines over TCP, cut anywhere: taken from the library's datagrams and passed on.

    The library's own TCP output (1.3.3) connects, and then sends on a socket it only has when it was connected to.
    """
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as lines,
        socket.create_connection(("127.0.0.1", port)) as out,
    ):
        lines.bind(("127.0.0.1", 0))
        flown = fly(folder, "UDP", lines.getsockname()[1], seconds)
        lines.setblocking(False)
        stream = b""
        with contextlib.suppress(BlockingIOError):
            while True:
                stream += lines.recv(65_536)
        for at in range(0, len(stream), 37):
            out.sendall(stream[at : at + 37])
    return flown


def fly(folder: Path, protocol: str, port: int, seconds: float) -> list[tuple[float, float, float]]:
    """A glider-like light aircraft from 8,000 ft with the library's socket output on: (time, P in rad/s, feet) sent."""
    directive = folder / f"{protocol}.xml"
    directive.write_text(OUTPUT.format(protocol=protocol, port=port))
    flight = jsbsim.FGFDMExec(jsbsim.get_default_root_dir())
    flight.set_debug_level(0)
    flight.load_model("c172p")
    flight["ic/h-sl-ft"] = 8000.0
    flight["ic/vc-kts"] = 80.0
    flight.set_output_directive(str(directive))
    flight.run_ic()
    out = []
    while flight.get_sim_time() < seconds:
        flight["fcs/aileron-cmd-norm"] = 0.5
        flight.run()
        out.append((flight.get_sim_time(), flight["velocities/p-rad_sec"], flight["position/h-sl-ft"]))
    return out


class MavSender:
    """A vehicle that sends attitude at 50 Hz and pressure at 10 Hz over pymavlink's UDP socket."""

    def __init__(self, port: int, system: int = 1) -> None:
        self.link = mavutil.mavlink_connection(f"udpout:127.0.0.1:{port}", source_system=system, dialect="common")

    def send(self, first: int, count: int) -> None:
        """Messages first to first + count - 1: a right spin at 84.8528 deg/s in roll and yaw, 696.816 hPa."""
        for k in range(first, first + count):
            ms = 1000 + 20 * k
            if k % 5 == 0:
                self.link.mav.scaled_pressure_send(ms, 696.816, 5.0, 2000)
            self.link.mav.attitude_send(ms, 0.0, -0.785398, 1.0, 1.480961, 0.0, 1.480961)

    def close(self) -> None:
        """Close the socket."""
        self.link.close()
