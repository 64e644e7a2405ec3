"""TLS certificates for the local network: from an own authority limited to local names, or one given by the user."""

from __future__ import annotations

import datetime
import hashlib
import ipaddress
import secrets
import socket
import ssl
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.adapters.files import new_file
from gainwright.adapters.user_folders import data_path
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

AUTHORITY_DAYS = 3650
LEAF_DAYS = 397
"""Phones refuse server certificates that are valid for longer; common practice, no published source."""
RENEW_DAYS = 30
_ASIDE, MOST_ASIDE = "authority-from-{}.pem", 4
"""Names of authorities that weren't valid when one was looked for, by the time from which they are, and how many are kept."""
EARLIER = datetime.timedelta(days=1)
"""Validity begins this much earlier, since a phone's clock may be slow."""
LOCAL_NETWORKS = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16"),  # RFC 1918
    *("127.0.0.0/8", "169.254.0.0/16", "100.64.0.0/10"),  # RFC 1122, 3927, 6598
    *("::1/128", "fc00::/7", "fe80::/10"),  # RFC 4291, 4193
)
LOCAL_NAMES = ("localhost", "local")
"""The only names the authority may certify (name constraints, RFC 5280 section 4.2.1.10): if its key is stolen, it can't be used against other sites that a phone visits."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate with its key, as files that a server loads.

    Attributes
    ----------
    names : names and addresses it is valid for.
    until : end of its validity.
    authority : certificate of our own authority, DER; empty if the user gave the certificate.
    """

    chain: Path
    key: Path
    names: frozenset[str]
    until: datetime.datetime
    authority: bytes = b""

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, in pairs, as phones show it; empty if the user gave the certificate."""
        return hashlib.sha256(self.authority).digest().hex(":").upper() if self.authority else ""


def certificates_folder() -> Path:
    """Return the folder of our own authority, in the user's data folder."""
    return data_path("certificates")


def own_certificate(names: Iterable[str], *, folder: Path | None = None) -> Certificate:
    """Return a certificate for names and addresses from our own authority; both are stored, and renewed when necessary: also when they were made with the clock ahead and aren't valid yet.

    Raises
    ------
    CallError : the folder can't be written.
    """
    place = folder or certificates_folder()
    try:
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        return _own_certificate(frozenset(names), place)
    except OSError as error:
        raise CallError(
            f"a certificate can't be stored there: {error.strerror}",
            code="certificate_not_kept",
            where=str(place),
            remedy="make it writable for you alone, or give your own certificate and key",
        ) from None


def given_certificate(chain: Path, key: Path) -> Certificate:
    """Return the user's own certificate after checking it.

    Raises
    ------
    CallError : it can't be read or has expired, or the key doesn't belong to it.
    """
    from cryptography import x509

    for path in (chain, key):
        if not path.is_file():
            raise CallError("there is no such file", code="no_such_file", where=str(path), remedy="name a PEM file")
    try:
        # an empty password: an encrypted key is refused; there may be no terminal to ask for a password
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(chain, key, password="")
        leaf = x509.load_pem_x509_certificate(chain.read_bytes())
    except (ssl.SSLError, OSError, ValueError) as error:
        why = getattr(error, "reason", None) or getattr(error, "strerror", None) or "is not a PEM certificate"
        raise CallError(
            f"can't be used with {key.name}: {str(why).lower().replace('_', ' ')}",
            code="bad_certificate",
            where=str(chain),
            rule="a certificate and its own key, both PEM, the key without password",
            remedy="leave both options out to have one made",
        ) from None
    if leaf.not_valid_after_utc <= _now():
        raise CallError(
            f"expired on {leaf.not_valid_after_utc:%Y-%m-%d}",
            code="certificate_ended",
            where=str(chain),
            remedy="renew it",
        )
    return Certificate(chain, key, frozenset(_names_of(leaf)), leaf.not_valid_after_utc)


def _own_certificate(names: frozenset[str], place: Path) -> Certificate:
    from cryptography.hazmat.primitives import serialization

    authority, signing = _authority(names, place)
    file = place / "server.pem"
    kept = _read(file)
    if kept is not None and _good(kept[0], names, authority):
        leaf = kept[0]
    else:
        leaf, key = _made_leaf(names, authority, signing)
        _keep(file, leaf, key)
    der = authority.public_bytes(serialization.Encoding.DER)
    return Certificate(file, file, frozenset(_names_of(leaf)), leaf.not_valid_after_utc, der)


def _authority(names: frozenset[str], place: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """Return the authority; a new one if there is none, it expires soon, or it may not certify one of the names.

    One that isn't valid by the clock is put aside: if the clock is wrong, it serves again when the clock is right, and phones that trust it do.
    """
    file = place / "authority.pem"
    for one in (file, *sorted(place.glob(_ASIDE.format("*")))):
        kept = _read(one)
        if kept is not None and _lasts(kept[0], LEAF_DAYS) and _vouches(kept[0], names):
            one.chmod(0o600)
            return kept
    kept = _read(file)
    if kept is not None:
        file.replace(place / _ASIDE.format(f"{kept[0].not_valid_before_utc:%Y%m%dT%H%M%S}"))
        for made_farthest_ahead in sorted(place.glob(_ASIDE.format("*")))[MOST_ASIDE:]:
            made_farthest_ahead.unlink()
    made, signing = _made_authority(names)
    _keep(file, made, signing)
    return made, signing


def _made_authority(names: frozenset[str]) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    signing = ec.generate_private_key(ec.SECP256R1())
    title = f"Gainwright bench on {socket.gethostname()[:32]}, {secrets.token_hex(2)}"
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    identifier = x509.SubjectKeyIdentifier.from_public_key(signing.public_key())
    usage = _usage(key_cert_sign=True, crl_sign=True)
    made = (
        _dated(AUTHORITY_DAYS)
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(signing.public_key())
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.NameConstraints(_permitted(names), None), critical=True)
        .add_extension(identifier, critical=False)
        .sign(signing, hashes.SHA256())
    )
    return made, signing


def _made_leaf(
    names: frozenset[str], authority: x509.Certificate, signing: ec.EllipticCurvePrivateKey
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    alternatives = x509.SubjectAlternativeName([_general(name) for name in sorted(names)])
    issuer = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    made = (
        _dated(LEAF_DAYS)
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Gainwright")]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .add_extension(alternatives, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(issuer), critical=False)
        .sign(signing, hashes.SHA256())
    )
    return made, key


def _dated(days: int) -> x509.CertificateBuilder:
    from cryptography import x509

    begin = _now() - EARLIER
    built = x509.CertificateBuilder().serial_number(x509.random_serial_number())
    return built.not_valid_before(begin).not_valid_after(begin + datetime.timedelta(days=days))


def _usage(**allowed: bool) -> x509.KeyUsage:
    from cryptography import x509

    purposes = (
        *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"),
        *("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
    )
    return x509.KeyUsage(**{purpose: allowed.get(purpose, False) for purpose in purposes})


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _permitted(names: frozenset[str]) -> list[x509.GeneralName]:
    """Return the names that an authority may certify: local ones, and this machine's own other names and addresses."""
    from cryptography import x509

    networks = [ipaddress.ip_network(network) for network in LOCAL_NETWORKS]
    addresses = [a for a in map(_address, sorted(names)) if a is not None]
    networks += [ipaddress.ip_network(a) for a in addresses if not any(a in network for network in networks)]
    words = [*LOCAL_NAMES, *(n for n in sorted(names) if _address(n) is None and not n.endswith(LOCAL_NAMES))]
    return [*(x509.DNSName(word) for word in words), *(x509.IPAddress(network) for network in networks)]


def _vouches(authority: x509.Certificate, names: frozenset[str]) -> bool:
    from cryptography import x509

    try:
        allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    except x509.ExtensionNotFound:
        return False
    words = [a.value for a in allowed if isinstance(a, x509.DNSName)]
    networks = [a.value for a in allowed if isinstance(a, x509.IPAddress)]

    def within(name: str) -> bool:
        address = _address(name)
        if address is None:
            return any(name == word or name.endswith(f".{word}") for word in words)
        return any(address in network for network in networks if not isinstance(network, ipaddress.IPv4Address))  # type: ignore[operator]

    return all(within(name) for name in names)


def _good(leaf: x509.Certificate, names: frozenset[str], authority: x509.Certificate) -> bool:
    try:
        leaf.verify_directly_issued_by(authority)
    except Exception:  # noqa: BLE001  whatever is wrong with it, a new one is made
        return False
    return _lasts(leaf, RENEW_DAYS) and _names_of(leaf) == names


def _lasts(certificate: x509.Certificate, days: int) -> bool:
    """Return whether a certificate is valid now, and that many days from now; one made with the clock ahead isn't yet."""
    last = _now() + datetime.timedelta(days=days)
    return certificate.not_valid_before_utc <= _now() and certificate.not_valid_after_utc > last


def _names_of(leaf: x509.Certificate) -> set[str]:
    from cryptography import x509

    try:
        alternatives = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return set()
    addresses = {str(address) for address in alternatives.get_values_for_type(x509.IPAddress)}
    return {name.lower() for name in alternatives.get_values_for_type(x509.DNSName)} | addresses


def _read(file: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey] | None:
    """Return a certificate with its key; None if they don't exist or don't belong together."""
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    try:
        content = file.read_bytes()
        found, key = x509.load_pem_x509_certificate(content), serialization.load_pem_private_key(content, None)
    except (FileNotFoundError, ValueError, TypeError):
        return None
    if isinstance(key, ec.EllipticCurvePrivateKey) and key.public_key() == found.public_key():
        return found, key
    return None


def _keep(file: Path, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> None:
    """Write a certificate with its key into one file that only the user may read, completely or not at all."""
    from cryptography.hazmat.primitives import serialization

    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    content = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain) + certificate.public_bytes(pem)
    with new_file(file, mode=0o600) as part:
        part.write_bytes(content)


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
