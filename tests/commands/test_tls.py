"""TLS on the real service, by Python's own client: old versions refused, the certificate checked, wrong files told."""

from __future__ import annotations

import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import httpx
import msgspec
import pytest
from tests.serving_thread import frames, plan_data
from tests.tools.running import COMMAND, RunningService
from websockets.sync.client import connect

from spinfloor.client import encode_batch
from spinfloor.tls import CertificateError, check_tls


def made(folder: Path, name: str, *more: str) -> tuple[Path, Path]:
    """A certificate for this machine that nobody else signed, and its key."""
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-days", "2", "-subj", "/CN=control-room.test"]
    command += ["-addext", "subjectAltName=IP:127.0.0.1", f"-keyout={key}", f"-out={certificate}", *more]
    subprocess.run(command, check=True, capture_output=True)
    return certificate, key


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tls")


@pytest.fixture(scope="module")
def secure(folder: Path) -> Iterator[tuple[RunningService, ssl.SSLContext]]:
    certificate, key = made(folder, "own", "-nodes")
    options = ("--no-screen", "--tls-certificate", str(certificate), "--tls-key", str(key))
    with RunningService(folder / "data", *options) as running:
        yield running, ssl.create_default_context(cafile=str(certificate))


def test_a_client_that_knows_the_certificate_sends_and_reads(secure: tuple[RunningService, ssl.SSLContext]) -> None:
    running, trusting = secure
    assert running.base.startswith("https://")
    with httpx.Client(base_url=running.base, verify=trusting, trust_env=False) as http:
        assert http.post("/v1/sorties?id=tls", json=plan_data()).status_code == 201
        address = running.base.replace("https", "wss") + "/v1/sorties/tls/frames"
        with connect(address, ssl=trusting, proxy=None) as link:
            link.send(encode_batch("s", 0, frames().slice(0, 50)))
            assert msgspec.msgpack.decode(link.recv(timeout=60.0, decode=False))["accepted"] == 50
        assert http.get("/v1/sorties/tls/frames?format=csv").text.count("\n") == 51


def test_a_client_that_does_not_know_it_goes_no_further(secure: tuple[RunningService, ssl.SSLContext]) -> None:
    with httpx.Client(verify=ssl.create_default_context(), trust_env=False) as http:
        with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
            http.get(f"{secure[0].base}/healthz")
        plain = secure[0].base.replace("https", "http")
        with pytest.raises(httpx.RemoteProtocolError):
            http.get(f"{plain}/healthz")


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1, ssl.TLSVersion.TLSv1_2])
def test_versions_before_1_2_are_refused(
    secure: tuple[RunningService, ssl.SSLContext], version: ssl.TLSVersion
) -> None:
    """RFC 8996 takes TLS 1.0 and 1.1 out of use."""
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("ALL:@SECLEVEL=0")  # so that it is the service that refuses
    with pytest.warns(DeprecationWarning, match="TLS") if version < ssl.TLSVersion.TLSv1_2 else nullcontext():
        old.minimum_version = old.maximum_version = version
    with socket.create_connection(("127.0.0.1", secure[0].port), timeout=20.0) as line:
        if version < ssl.TLSVersion.TLSv1_2:
            with pytest.raises(ssl.SSLError):
                old.wrap_socket(line)
            return
        with old.wrap_socket(line) as safe:
            assert safe.version() == "TLSv1.2"


def test_files_that_are_no_certificate_with_its_key_are_told(folder: Path) -> None:
    (one, one_key), (_, other_key) = made(folder, "one", "-nodes"), made(folder, "other", "-nodes")
    _, locked = made(folder, "locked", "-passout", "pass:secret")
    junk = folder / "junk.pem"
    junk.write_text("no certificate")
    check_tls(None, None)
    check_tls(one, one_key)
    for certificate, key in ((one, other_key), (junk, one_key), (one, None), (None, one_key), (one, locked)):
        with pytest.raises(CertificateError, match="does not start"):
            check_tls(certificate, key)
    done = subprocess.run(
        [*COMMAND, "serve", "--port=0", f"--data={folder / 'none'}", f"--tls-certificate={one}", f"--tls-key={other_key}"],
        capture_output=True, text=True, timeout=120.0, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("spinfloor: Expected --tls-certificate")
    assert "Traceback" not in done.stderr
    assert not (folder / "none").exists()
