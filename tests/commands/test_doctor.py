"""The machine check finds a fit machine fit and names what is not."""

import socket
from pathlib import Path

from click.testing import CliRunner

from spinfloor.commands.doctor import doctor
from spinfloor.doctor import check_clock, check_disk, check_kernel, check_port, check_sounds


def test_kernel_disk_clock_and_sounds_are_found_fit(tmp_path: Path) -> None:
    check_kernel()  # compiles; the second look measures
    for finding in (check_kernel(), check_disk(tmp_path), check_clock(), check_sounds()):
        assert finding.check in {"kernel", "disk", "clock", "sounds"}
        assert finding.sentence
    assert check_sounds().good


def test_a_taken_port_is_named(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        finding = check_port(port)
        assert not finding.good
        assert str(port) in finding.sentence
        assert "runs already?" in finding.sentence
        assert "--port" in finding.sentence
        result = CliRunner().invoke(doctor, ["--data", str(tmp_path), "--port", str(port)], standalone_mode=False)
    assert result.return_value == 1
    assert "NOT port" in result.output
