"""No file names a host, a folder of one machine, or anything about the place where it was written."""

from __future__ import annotations

import contextlib
import ipaddress
import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

SCHEME = ":" + "//"

PUBLIC = (
    "www.w3.org/",
    "json-schema.org/",
    "www.itu.int/",
    "tech.ebu.ch/",
    "www.iso.org/",
    "www.iec.ch/",
    "webstore.iec.ch/",
    "standards.ieee.org/",
    "www.aes.org/",
    "www.bipm.org/",
    "www.nist.gov/",
    "doi.org/",
    "www.rfc-editor.org/",
    "yaml.org/",
    "127.0.0.1",
    "localhost",
)
"""Homes of open standards and of numbers that can be looked up there, and this machine itself."""

VERBATIM = "LICENSE"
"""The text of the licence, kept word for word (test_licence.py holds its checksum), names its publisher's addresses."""

FOLDERS = tuple(f"/{name}/" for name in ("work", "tmp", "root", "opt", "home", "Users"))
HOSTS = tuple("".join(parts) for parts in (("py", "pi.org"), ("pythonhosted", ".org"), ("git", "hub.com")))


def strangers(text: str) -> list[str]:
    """Return the addresses, machine folders and registry hosts in a text that don't belong there."""
    addresses = re.findall(rf"[a-z][a-z0-9+.-]*{SCHEME}[^\s\"'<>)`]*", text, flags=re.IGNORECASE)
    found = [address for address in addresses if not _nobodys(address.split(SCHEME, 1)[1])]
    found += [part for part in FOLDERS if re.search(rf"(?<![\w.}}\])/-]){part}", text)]
    found += [host for host in HOSTS if host in text.lower()]
    return found


def _nobodys(address: str) -> bool:
    """Tell whether an address may stand in a file.

    It may when it is public, filled in by the program, under the domain kept for tests (RFC 6761) or for one link
    (RFC 6762), or of a private network (RFC 1918, RFC 4193).
    """
    host = re.match(r"\[([^\]]+)\]|([^:/]+)", address)
    if host is not None:
        name = host[1] or host[2]
        if name.endswith(".local"):
            return True
        with contextlib.suppress(ValueError):
            return ipaddress.ip_address(name).is_private
    return address.startswith((*PUBLIC, "{")) or re.match(r"[\w.-]+\.test(?![\w.-])", address) is not None


def _written(tree: Path) -> list[Path]:
    """Return every text file of the tree that a person or a tool of ours wrote."""
    tops = ("src", "tests", "docs", "bench", "tools", "docs_site", ".ci")
    inside = [path for top in tops for path in (tree / top).rglob("*") if path.is_file()]
    outside = [path for path in tree.iterdir() if path.is_file() and path.name != ".git"]  # of a linked work tree
    texts = {
        ".py",
        ".md",
        ".txt",
        ".toml",
        ".yaml",
        ".yml",
        ".json",
        ".csv",
        ".css",
        ".js",
        ".html",
        ".typ",
        ".cir",
        "",
    }
    return [path for path in inside + outside if path.suffix in texts and "__pycache__" not in path.parts]


def test_no_file_names_a_foreign_host_or_a_machines_folder(tree: Path) -> None:
    """No file of the tree names a host other than a standard's own, or a folder of one machine."""
    files = _written(tree)
    assert len(files) > 40
    found = {}
    for path in files:
        name = path.relative_to(tree).as_posix()
        bad = strangers(path.read_text(encoding="utf-8"))
        if bad and name not in {VERBATIM, "tests/architecture/test_addresses.py"}:
            found[name] = bad
    assert found == {}


@pytest.mark.parametrize(
    ("text", "bad"),
    [
        ("see https" + SCHEME + "doi.org/10.1000/1", 0),
        ("xmlns='http" + SCHEME + "www.w3.org/2000/svg'", 0),
        ("a path/work/b and ./tmp/ and {tmp}/opt/", 0),
        ("get it from https" + SCHEME + "example.com/x", 1),
        ("file" + SCHEME + "/srv/x", 1),
        ("open('/" + "work/main/x')", 1),
        ("index " + HOSTS[0], 1),
        ("http" + SCHEME + "evil.test/x and http" + SCHEME + "{host}:1/", 0),
        ("http" + SCHEME + "evil.test.com/x", 1),
    ],
)
def test_search_finds_foreign_hosts_and_passes_standards(text: str, bad: int) -> None:
    """The search finds a host and a machine's folder, and passes a standard's own host and a relative path."""
    assert len(strangers(text)) == bad
