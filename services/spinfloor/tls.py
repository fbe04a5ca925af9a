"""The certificate and key of a service, looked at before anything is opened."""

from __future__ import annotations

import ssl
from pathlib import Path

from spinfloor.core.errors import SpinfloorError


class CertificateError(SpinfloorError):
    """Not a certificate with its key."""

    code = "bad-certificate"


def check_tls(certificate: Path | None, key: Path | None) -> None:
    """Raises CertificateError unless the two belong together, or the certificate's file holds both, or there is none.

    A key under a passphrase is refused: nobody is there to type it when a service starts.
    """
    if certificate is None and key is None:
        return
    try:
        if certificate is None:
            raise ValueError("a key alone")
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=lambda: "")
    except (OSError, ValueError) as exc:
        raise CertificateError(
            expected="--tls-certificate, a PEM file, and --tls-key, its key without a passphrase",
            got=_words(exc),
            now="the service does not start",
        ) from exc


def _words(exc: OSError | ValueError) -> str:
    """What the library says, which is short."""
    if isinstance(exc, ssl.SSLError):
        reason = (exc.reason or "").replace("_", " ").lower()
        return f"files of which the library says: {reason or 'no certificate, or no key that fits it'}"
    return getattr(exc, "strerror", None) or str(exc)
