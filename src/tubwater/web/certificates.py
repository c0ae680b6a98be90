"""HTTPS on the network at home: an authority of this computer's own, and the certificate that it gives the pages.

The authority may vouch for nothing but this computer's names and private addresses (RFC 5280, 4.2.1.10), so that a
phone that trusts it trusts it for these alone. Both certificates follow the profile of RFC 5280; that of the pages
holds less than 398 days, which the browsers ask for.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from tubwater.web.network import AT_HOME, is_at_home

__all__ = ["Certificates", "certificates", "fingerprint"]

_HOLDS = timedelta(days=390)
_RENEWED = timedelta(days=60)  # before the end
_AUTHORITY_HOLDS = timedelta(days=3650)
_EARLIER = timedelta(days=1)  # clocks of phones differ
_BROKEN = (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound)  # what a damaged or foreign file raises


@dataclass(frozen=True)
class Certificates:
    """Files: the certificate of the pages and its key (PEM), and that of the authority (DER), which phones take."""

    chain: Path
    key: Path
    authority: Path


def certificates(folder: Path, names: Sequence[str], addresses: Sequence[str], now: datetime) -> Certificates:
    """The certificates in a folder, made where there are none and renewed where they end soon or lack a name.

    Args:
        names, addresses: of this computer; what its authority may not vouch for is left out.
        now: aware.

    Raises:
        OSError: the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    found = Certificates(folder / "pages.pem", folder / "pages.key", folder / "authority.crt")
    key, authority = _authority(folder, names, now)
    wanted = [x509.DNSName(name) for name in names if _may_vouch(authority, name)]
    wanted_too = [x509.IPAddress(ipaddress.ip_address(address)) for address in addresses if is_at_home(address)]
    if not _stands(found, authority, [*wanted, *wanted_too], now):
        own = ec.generate_private_key(ec.SECP256R1())
        _write_key(found.key, own)
        _write(found.chain, _of_pages(key, authority, own, [*wanted, *wanted_too], now))
    return found


def fingerprint(authority: Path) -> str:
    """The SHA-256 of an authority's certificate in groups, to be compared by eye."""
    found = x509.load_der_x509_certificate(authority.read_bytes()).fingerprint(hashes.SHA256()).hex().upper()
    return " ".join(found[i : i + 4] for i in range(0, len(found), 4))


def _authority(
    folder: Path, names: Sequence[str], now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    """The authority of this computer; in its last year or where it broke a new one, which phones have to be told of."""
    kept, key_kept = folder / "authority.crt", folder / "authority.key"
    if kept.exists() and key_kept.exists():
        with suppress(*_BROKEN):
            key = serialization.load_pem_private_key(key_kept.read_bytes(), None)
            found = x509.load_der_x509_certificate(kept.read_bytes())
            long = found.not_valid_after_utc - now > _HOLDS + _EARLIER
            if isinstance(key, ec.EllipticCurvePrivateKey) and key.public_key() == found.public_key() and long:
                os.chmod(key_kept, 0o600)
                return key, found
    made = ec.generate_private_key(ec.SECP256R1())
    certificate = _of_authority(made, names, now)
    _write_key(key_kept, made)
    _write(kept, certificate.public_bytes(serialization.Encoding.DER))
    return made, certificate


def _of_authority(key: ec.EllipticCurvePrivateKey, names: Sequence[str], now: datetime) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Tubwater at home, {names[-1]}"[:64])])
    allowed: list[x509.GeneralName] = [x509.DNSName(one) for one in names]
    allowed += [x509.IPAddress(network) for network in AT_HOME]
    return (
        _begun(name, name, key.public_key(), now, _AUTHORITY_HOLDS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )


def _of_pages(
    key: ec.EllipticCurvePrivateKey,
    authority: x509.Certificate,
    own: ec.EllipticCurvePrivateKey,
    names: Sequence[x509.GeneralName],
    now: datetime,
) -> bytes:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Tubwater pages")])
    made = (
        _begun(name, authority.subject, own.public_key(), now, _HOLDS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(own.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return made.public_bytes(serialization.Encoding.PEM)


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, holds: timedelta
) -> x509.CertificateBuilder:
    made = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key)
    made = made.serial_number(x509.random_serial_number())
    return made.not_valid_before(now - _EARLIER).not_valid_after(now + holds)


def _usage(signs: bool) -> x509.KeyUsage:
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


def _stands(
    found: Certificates, authority: x509.Certificate, wanted: Sequence[x509.GeneralName], now: datetime
) -> bool:
    """Whether the certificate at hand is of this authority and its key, names everything, and does not end soon."""
    if not (found.chain.exists() and found.key.exists()):
        return False
    try:
        own = x509.load_pem_x509_certificate(found.chain.read_bytes())
        key = serialization.load_pem_private_key(found.key.read_bytes(), None)
        names = own.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        own.verify_directly_issued_by(authority)
    except _BROKEN:
        return False
    fits = key.public_key() == own.public_key() and set(wanted) <= set(names)
    return fits and own.not_valid_before_utc <= now < own.not_valid_after_utc - _RENEWED


def _may_vouch(authority: x509.Certificate, name: str) -> bool:
    allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    known = [str(one.value) for one in allowed if isinstance(one, x509.DNSName)]
    return any(name == one or name.endswith(f".{one}") for one in known)


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    plain = serialization.NoEncryption()
    _write(path, key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain), 0o600)


def _write(path: Path, content: bytes, mode: int = 0o644) -> None:
    """At once or not at all, and never readable by others in between."""
    new = path.with_name(path.name + ".new")
    new.unlink(missing_ok=True)
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(content)
    os.replace(new, path)
