"""A certificate made on the spot, so that a phone's browser gives its camera to the page.

The key never leaves memory and the temporary file uvicorn reads; nothing is installed
anywhere, so the phone shows a warning once, which the page of the desk explains.
"""

from __future__ import annotations

import ipaddress
import os
import tempfile
from collections.abc import Iterable
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from cryptography import x509

__all__ = ["certificate_files", "make_certificate"]

_LIFE = timedelta(days=7)


def make_certificate(
    addresses: Iterable[str], now: datetime | None = None
) -> tuple[bytes, bytes, str]:
    """Make a key and a self-signed certificate for these addresses.

    Parameters
    ----------
    addresses : iterable of str
        IP addresses and names the server is reached by.
    now : datetime, optional
        Aware; the present if not given.

    Returns
    -------
    (bytes, bytes, str)
        Certificate and private key in PEM, and the certificate's SHA-256 fingerprint as
        people compare it: hexadecimal pairs with colons.

    Notes
    -----
    Names are in the subject alternative name, use is server authentication, life is one
    week: what phone systems ask for (RFC 5280; Apple asks for at most 825 days).
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    now = now or datetime.now(UTC)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "huehold on this computer")])
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + _LIFE)
        .add_extension(x509.SubjectAlternativeName(_names(addresses)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    fingerprint = certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    return certificate.public_bytes(serialization.Encoding.PEM), private, fingerprint


def _names(addresses: Iterable[str]) -> list[x509.GeneralName]:
    from cryptography import x509

    def one(address: str) -> x509.GeneralName:
        """Return an address as the name it is: a number or a word."""
        try:
            return x509.IPAddress(ipaddress.ip_address(address))
        except ValueError:
            return x509.DNSName(address)

    return [one(address) for address in addresses]


@contextmanager
def certificate_files(certificate: bytes, key: bytes) -> Iterator[tuple[Path, Path]]:
    """Lend the certificate and key as files that only this user can read."""
    with tempfile.TemporaryDirectory(prefix="huehold-") as folder:
        paths = Path(folder, "certificate.pem"), Path(folder, "key.pem")
        for path, data in zip(paths, (certificate, key), strict=True):
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(data)
        yield paths
