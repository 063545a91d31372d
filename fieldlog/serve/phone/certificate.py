"""Certificates made on the spot, so that a browser gives a page on this network the microphone.

An authority of this machine's own signs a certificate for today's addresses, made anew at every start and
good for 90 days. The authority is bound (name constraints, critical: RFC 5280, section 4.2.1.10) to the private
ranges and ``.local``: stolen, its key can pose as nothing on the internet. Keys are P-256, as every phone
takes them; names stand in the subject's alternative names, addresses among them.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from fieldlog.errors import StoreError, UsageError
from fieldlog.serve.phone.private import write_private

AUTHORITY, AUTHORITY_KEY = "authority.crt", "authority.key"
SERVER, SERVER_KEY = "server.crt", "server.key"
LEAF_DAYS = 90
AUTHORITY_DAYS = 5 * 365
_RENEWED_BEFORE = timedelta(days=LEAF_DAYS + 1)
_PRIVATE = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8",
    "fc00::/7", "fe80::/10", "::1/128",
)  # fmt: skip
"""RFC 1918, 3927, 4193, 4291 and the machine itself."""
_NAMES = ("local", "localhost")

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True, slots=True)
class Certified:
    """Where the certificate of this start and its key lie, and the authority's fingerprint."""

    certificate: Path
    """The server's, with the authority's behind it."""
    key: Path
    authority: Path
    fingerprint: str
    """SHA-256 of the authority's certificate: what a phone shows before it is installed."""


def certify(
    folder: Path, addresses: Sequence[str], names: Sequence[str], now: datetime
) -> Certified:
    """A certificate for today's ``addresses`` and ``names`` (each ending in ``.local``) in ``folder``.

    Raises ``UsageError`` for an address outside the private ranges, ``StoreError`` for the folder.
    """
    places = [_private(each) for each in addresses]
    authority, signer = _authority(folder, now)
    key = ec.generate_private_key(ec.SECP256R1())
    alternatives: list[x509.GeneralName] = [x509.IPAddress(each) for each in places]
    alternatives += [x509.DNSName(each) for each in names]
    leaf = (
        x509.CertificateBuilder()
        .subject_name(_named("fieldlog on this network"))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))  # a phone whose clock is a little behind
        .not_valid_after(now + timedelta(days=LEAF_DAYS))
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
        .sign(signer, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    write_private(folder / SERVER_KEY, _pem(key))
    write_private(folder / SERVER, leaf.public_bytes(pem) + authority.public_bytes(pem))
    print_of = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certified(folder / SERVER, folder / SERVER_KEY, folder / AUTHORITY, print_of)


def _authority(folder: Path, now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """This machine's authority; a new one where there is none, or its time is nearly over."""
    try:
        text = (folder / AUTHORITY).read_bytes()
        key = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
        known = x509.load_pem_x509_certificate(text)
    except FileNotFoundError:
        return _new_authority(folder, now)
    except (OSError, ValueError) as error:
        raise StoreError(
            f"the authority's key cannot be read ({error})",
            where=str(folder),
            todo="make new ones with `fieldlog phone forget` and pair the phones anew",
        ) from error
    fits = isinstance(key, ec.EllipticCurvePrivateKey) and key.public_key() == known.public_key()
    if not fits or known.not_valid_after_utc - now < _RENEWED_BEFORE:
        return _new_authority(folder, now)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    return known, key


def _new_authority(
    folder: Path, now: datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = _named(f"fieldlog of {socket.gethostname()[:40]}, {now:%Y-%m-%d}")
    permitted: list[x509.GeneralName] = [
        x509.IPAddress(ipaddress.ip_network(each)) for each in _PRIVATE
    ]
    permitted += [x509.DNSName(each) for each in _NAMES]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    write_private(folder / AUTHORITY_KEY, _pem(key))
    write_private(folder / AUTHORITY, made.public_bytes(serialization.Encoding.PEM))
    return made, key


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs,
        crl_sign=signs,
        encipher_only=False,
        decipher_only=False,
    )


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _named(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _private(text: str) -> Address:
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        raise UsageError(f"{text!r} is no address", todo="name one such as 192.168.1.20") from None
    ranges = (ipaddress.ip_network(each) for each in _PRIVATE)
    if not any(address in each for each in ranges if each.version == address.version):
        raise UsageError(
            f"{text} is not an address of a private network",
            todo="a phone joins over the workshop's own network, never over the internet",
        )
    return address


def own_addresses() -> tuple[str, ...]:
    """This machine's private IPv4 addresses today, the one towards the network first."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        way.connect(("192.0.2.1", 9))  # RFC 5737: nothing is sent, the system only chooses a way
        found.append(way.getsockname()[0])
    with suppress(OSError):
        known = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(each[4][0]) for each in known]
    kept = []
    for each in dict.fromkeys(found):
        with suppress(UsageError):
            if not _private(each).is_loopback:
                kept.append(each)
    return tuple(kept)
