"""Certificates for one test: an authority of its own and one certificate that all of a cluster share."""

from __future__ import annotations

import datetime
import ipaddress
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


@dataclass(frozen=True)
class Certificates:
    """PEM files."""

    ca: Path
    cert: Path
    key: Path


def write_certificates(folder: Path) -> Certificates:
    """Make them, good for an hour."""
    folder.mkdir(parents=True)
    files = Certificates(folder / "ca.pem", folder / "cert.pem", folder / "key.pem")
    authority, own = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    issuer = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{folder.name} (invented)")])
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "farm (invented)")])
    now = datetime.datetime.now(datetime.UTC)

    def signed(name: x509.Name, key: ec.EllipticCurvePrivateKey, is_ca: bool) -> bytes:
        builder = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(issuer)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(minutes=5))
            .not_valid_after(now + datetime.timedelta(hours=1))
            .add_extension(x509.BasicConstraints(ca=is_ca, path_length=None), critical=True)
            .add_extension(
                x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]),
                critical=False,
            )
        )
        certificate = builder.sign(authority, hashes.SHA256())
        return certificate.public_bytes(serialization.Encoding.PEM)

    files.ca.write_bytes(signed(issuer, authority, True))
    files.cert.write_bytes(signed(subject, own, False))
    files.key.write_bytes(
        own.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return files
