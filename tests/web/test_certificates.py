"""Our own authority and its certificates, verified by another implementation: OpenSSL, strictly, through Python's ssl."""

from __future__ import annotations

import datetime
import ipaddress
import socket
import ssl
from typing import TYPE_CHECKING

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from handshake import handshake

from gainwright.adapters import certificates
from gainwright.adapters.certificates import given_certificate, own_certificate
from gainwright.adapters.own_addresses import own_addresses, own_names
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gainwright.adapters.certificates import Certificate

NAMES = ("192.168.5.6", "fd00::1", "bench.local", "bench", "localhost", "127.0.0.1")


def shake(certificate: Certificate, trusted: bytes, name: str) -> str:
    """Let OpenSSL shake hands over TLS as a client that trusts one authority; return the version, or why it refused."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(certificate.chain, certificate.key)
    return handshake(serving, trusted, name)


def test_every_name_and_address_is_accepted_and_no_other(tmp_path: Path) -> None:
    """A strict client that trusts the authority accepts each name and address, and refuses any other."""
    made = own_certificate(NAMES, folder=tmp_path)
    assert made.names == set(NAMES)
    for name in NAMES:
        assert shake(made, made.authority, name) == "TLSv1.3", name
    assert "mismatch" in shake(made, made.authority, "192.168.5.7")
    assert "mismatch" in shake(made, made.authority, "elsewhere.local")
    stranger = own_certificate(NAMES, folder=tmp_path / "stranger")
    assert "issuer" in shake(made, stranger.authority, "bench.local")


def forged(folder: Path, name: str) -> Certificate:
    """Return a certificate for another name as a thief of the authority's key would make it."""
    made = own_certificate(("192.168.5.6",), folder=folder)
    content = (folder / "authority.pem").read_bytes()
    signing = serialization.load_pem_private_key(content, None)
    assert isinstance(signing, ec.EllipticCurvePrivateKey)
    issuer = x509.load_pem_x509_certificate(content)
    key = ec.generate_private_key(ec.SECP256R1())
    try:
        general: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        general = x509.DNSName(name)
    now = datetime.datetime.now(datetime.UTC)
    leaf = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "forged")]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([general]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signing.public_key()), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(signing, hashes.SHA256())
    )
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    file = folder / "forged.pem"
    file.write_bytes(key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain) + leaf.public_bytes(pem))
    return type(made)(file, file, frozenset({name}), made.until, made.authority)


@pytest.mark.parametrize(
    ("name", "accepted"),
    [
        ("bank.example.com", False),
        ("8.8.8.8", False),
        ("local.evil.test", False),
        ("x.local", True),
        ("10.1.2.3", True),
    ],
)
def test_stolen_authority_is_valid_for_local_names_only(tmp_path: Path, name: str, accepted: bool) -> None:
    """Name constraints (RFC 5280, 4.2.1.10): a certificate signed with it for a site on the internet is refused."""
    made = forged(tmp_path, name)
    said = shake(made, made.authority, name)
    assert (said == "TLSv1.3") is accepted, said
    assert accepted or "permitted subtree" in said


def test_keys_are_readable_by_the_user_only(tmp_path: Path) -> None:
    """Folder and files; the permissions of a key that others could read are corrected."""
    folder = tmp_path / "certificates"
    own_certificate(NAMES, folder=folder)
    assert folder.stat().st_mode & 0o077 == 0
    assert {path.stat().st_mode & 0o077 for path in folder.iterdir()} == {0}
    (folder / "authority.pem").chmod(0o644)
    own_certificate(NAMES, folder=folder)
    assert (folder / "authority.pem").stat().st_mode & 0o077 == 0


def test_certificate_follows_the_addresses_and_the_authority_stays(tmp_path: Path) -> None:
    """The same names: the same files. Another address: another certificate from the same authority."""
    first = own_certificate(NAMES, folder=tmp_path)
    content = first.chain.read_bytes()
    assert own_certificate(NAMES, folder=tmp_path).chain.read_bytes() == content
    moved = own_certificate((*NAMES, "172.20.1.1"), folder=tmp_path)
    assert moved.authority == first.authority
    assert moved.chain.read_bytes() != content
    assert shake(moved, first.authority, "172.20.1.1") == "TLSv1.3"
    outside = own_certificate(("130.1.2.3",), folder=tmp_path)
    assert outside.authority != first.authority
    assert shake(outside, outside.authority, "130.1.2.3") == "TLSv1.3"


@pytest.mark.parametrize("spoiled", [b"", b"garbage", b"-----BEGIN CERTIFICATE-----\nxx\n-----END CERTIFICATE-----\n"])
def test_damaged_certificate_files_are_replaced(tmp_path: Path, spoiled: bytes) -> None:
    """Files that are no longer certificates are replaced; another authority then has another fingerprint."""
    first = own_certificate(NAMES, folder=tmp_path)
    for name in ("server.pem", "authority.pem"):
        (tmp_path / name).write_bytes(spoiled)
        made = own_certificate(NAMES, folder=tmp_path)
        assert shake(made, made.authority, "bench.local") == "TLSv1.3"
        assert (made.fingerprint == first.fingerprint) is (name == "server.pem")


def test_certificate_made_with_the_clock_ahead_is_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the clock is ahead it is kept; once it is right, a certificate that isn't valid yet serves nobody."""
    ahead = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=31)
    with monkeypatch.context() as patch:
        patch.setattr(certificates, "_now", lambda: ahead)
        made = own_certificate(NAMES, folder=tmp_path)
        assert own_certificate(NAMES, folder=tmp_path).authority == made.authority
    assert "not yet valid" in shake(made, made.authority, "bench.local")
    anew = own_certificate(NAMES, folder=tmp_path)
    assert shake(anew, anew.authority, "bench.local") == "TLSv1.3"
    assert own_certificate(NAMES, folder=tmp_path).authority == anew.authority


def test_clock_set_back_for_a_while_costs_no_trust(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As of a machine whose battery is empty: meanwhile another authority serves; then phones know the first one again."""
    first = own_certificate(NAMES, folder=tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(certificates, "_now", lambda: datetime.datetime(1980, 1, 1, tzinfo=datetime.UTC))
        for _ in range(2):
            assert own_certificate(NAMES, folder=tmp_path).authority != first.authority
    again = own_certificate(NAMES, folder=tmp_path)
    assert again.authority == first.authority
    assert shake(again, first.authority, "bench.local") == "TLSv1.3"
    assert {path.stat().st_mode & 0o077 for path in tmp_path.iterdir()} == {0}


def test_fingerprint_is_what_openssl_says(tmp_path: Path, run_openssl: Callable[..., str]) -> None:
    """The fingerprint that a user compares is that of the openssl program."""
    made = own_certificate(NAMES, folder=tmp_path)
    said = run_openssl("x509", "-in", str(tmp_path / "authority.pem"), "-noout", "-fingerprint", "-sha256")
    assert said.strip().rpartition("=")[2] == made.fingerprint


@pytest.fixture
def run_openssl() -> Callable[..., str]:
    """Run the openssl program."""
    import subprocess

    return lambda *arguments: subprocess.run(("openssl", *arguments), capture_output=True, text=True, check=True).stdout


def test_given_certificate_is_checked(tmp_path: Path, run_openssl: Callable[..., str]) -> None:
    """The user's own certificate is used with its names; a wrong key, an encrypted one, an expired certificate and no file are reported."""
    pairs = {}
    for name in ("good", "other"):
        chain, key = tmp_path / f"{name}.pem", tmp_path / f"{name}.key"
        run_openssl(
            *("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=bench", "-keyout", str(key)),
            *("-out", str(chain), "-days", "30", "-addext", "subjectAltName=DNS:Bench.home"),
        )
        pairs[name] = (chain, key)
    taken = given_certificate(*pairs["good"])
    assert taken.names == {"bench.home"}
    assert taken.authority == b""
    assert taken.fingerprint == ""
    with pytest.raises(CallError, match=r"good\.pem: can't be used with other\.key"):
        given_certificate(pairs["good"][0], pairs["other"][1])
    with pytest.raises(CallError, match="no such file"):
        given_certificate(tmp_path / "none.pem", pairs["good"][1])
    locked = tmp_path / "locked.key"
    run_openssl("pkey", "-in", str(pairs["good"][1]), "-aes256", "-passout", "pass:secret", "-out", str(locked))
    with pytest.raises(CallError, match="without password"):
        given_certificate(pairs["good"][0], locked)
    with pytest.raises(CallError, match="expired on 2020-01-02"):
        given_certificate(*ended(tmp_path))


def ended(folder: Path) -> tuple[Path, Path]:
    """Return a certificate of long ago with its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "bench")])
    begun, over = (datetime.datetime(2020, 1, day, tzinfo=datetime.UTC) for day in (1, 2))
    built = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = built.serial_number(1).not_valid_before(begun).not_valid_after(over).sign(key, hashes.SHA256())
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    file = folder / "long-ago.pem"
    file.write_bytes(key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain) + made.public_bytes(pem))
    return file, file


def test_own_addresses_can_be_bound() -> None:
    """Each address found is one of this machine: a socket can be bound to it."""
    found = own_addresses()
    assert all(not ipaddress.ip_address(address).is_loopback for address in found)
    for address in found:
        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        with socket.socket(family, socket.SOCK_STREAM) as bound:
            bound.bind((address, 0))
    assert all(name.islower() for name in own_names())
