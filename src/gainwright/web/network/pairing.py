"""Pairing: a code that is good once and for ten minutes lets a device in; wrong tries end it, and whoever made them waits."""

from __future__ import annotations

import hashlib
import ipaddress
import re
import secrets
import threading
import time
import unicodedata
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.quantities import normalise_text

if TYPE_CHECKING:
    from collections.abc import Callable

DIGITS = 8
GOOD_FOR_S = 600.0
WRONG_TRIES = 5
LONGEST_WAIT_S = 900.0
FORGOTTEN_S = 3600.0
MOST_ADDRESSES = 1000
LONGEST_NAME = 40
COOKIE = "__Host-gainwright-device"
"""The prefix lets a browser take it over TLS only, for this host and all of it (RFC 6265bis)."""
COOKIE_DAYS = 400


class PairingError(CallError):
    """A try that let nobody in; `wait_s` is how long no other will be looked at."""

    wait_s: float = 0.0


@dataclass(slots=True)
class Code:
    """A code as it stands."""

    digits: str
    until: float
    wrong: int = 0

    @property
    def shown(self) -> str:
        """The code in two groups."""
        return f"{self.digits[: DIGITS // 2]} {self.digits[DIGITS // 2 :]}"


@dataclass(slots=True)
class _Tries:
    wrong: int
    last: float
    next: float


@dataclass
class Pairing:
    """Makes codes and judges tries, one at a time, whatever the number of requests.

    Parameters
    ----------
    clock : seconds that only grow.
    """

    clock: Callable[[], float] = time.monotonic
    _code: Code | None = None
    _tries: OrderedDict[str, _Tries] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def new_code(self) -> Code:
        """Make a code; the one before it is void."""
        with self._lock:
            self._code = Code(f"{secrets.randbelow(10**DIGITS):0{DIGITS}}", self.clock() + GOOD_FOR_S)
            return self._code

    @property
    def code(self) -> Code | None:
        """The code that is good now, if any."""
        with self._lock:
            return self._good()

    @property
    def left_s(self) -> float:
        """How long the code is good, in s."""
        code = self.code
        return 0.0 if code is None else code.until - self.clock()

    def take(self, typed: str, *, address: str) -> None:
        """Use the code up.

        Raises
        ------
        PairingError : it isn't the code, there is none, or the address must wait. While it waits nothing is looked at.
        """
        asker = _group(address)
        with self._lock:
            now = self.clock()
            tries = self._tries.get(asker)
            if tries is not None and now < tries.next:
                raise _waiting(tries.next - now)
            code = self._good()
            if code is not None and secrets.compare_digest(
                _plain(typed).encode(errors="replace"), code.digits.encode()
            ):
                self._code = None
                self._tries.pop(asker, None)
                return
            wait_s = self._note(asker, now)
            if code is not None:
                code.wrong += 1
            ended = self._good() is None
        raise _wrong(ended=ended, wait_s=wait_s)

    def _good(self) -> Code | None:
        if self._code is not None and (self._code.wrong >= WRONG_TRIES or self.clock() >= self._code.until):
            self._code = None
        return self._code

    def _note(self, asker: str, now: float) -> float:
        tries = self._tries.pop(asker, None)
        wrong = 1 if tries is None or now - tries.last > FORGOTTEN_S else tries.wrong + 1
        wait_s = min(2.0**wrong, LONGEST_WAIT_S)
        self._tries[asker] = _Tries(wrong, now, now + wait_s)
        while len(self._tries) > MOST_ADDRESSES:
            self._tries.popitem(last=False)
        return wait_s


def device_name(typed: str, *, taken: set[str]) -> str:
    """Return a device's name as it is kept: one line of visible characters, unlike every other.

    Raises
    ------
    PairingError : nothing of it is left.
    """
    folded = unicodedata.normalize("NFC", typed)
    # marks that turn or hide text would let one device pass for another (categories C*: control, format, surrogate)
    visible = "".join(" " if c.isspace() else c for c in folded if c.isspace() or unicodedata.category(c)[0] != "C")
    name = " ".join(visible.split())[:LONGEST_NAME].strip()
    if not any(c.isalnum() for c in name):
        raise PairingError(
            "a device needs a name", code="no_name", where="name", remedy="write, for example, phone in the bay"
        )
    known = {_folded(other) for other in taken}
    if _folded(name) not in known:
        return name
    return next(tried for n in range(2, 10_000) if _folded(tried := f"{name[: LONGEST_NAME - 5]} {n}") not in known)


def new_token() -> str:
    """Return a token for a device: 256 random bits."""
    return secrets.token_urlsafe(32)


def digest_of(token: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()


def _plain(typed: str) -> str:
    """Return a code without what stands between its digits."""
    return re.sub(r"[\s-]", "", normalise_text(typed))


def _group(address: str) -> str:
    """Return whom tries are counted for: an IPv4 address, or an IPv6 network of one household (RFC 6177)."""
    try:
        read = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(read, ipaddress.IPv6Address):
        if read.ipv4_mapped is not None:
            return str(read.ipv4_mapped)
        return str(ipaddress.ip_network((read, 64), strict=False))
    return str(read)


def _waiting(wait_s: float) -> PairingError:
    seconds = int(wait_s) + 1
    error = PairingError(
        f"after wrong codes this device must wait {seconds} s more",
        code="must_wait",
        where="code",
        remedy="look the code up meanwhile, on the machine's own screen",
    )
    error.wait_s = wait_s
    return error


def _wrong(*, ended: bool, wait_s: float) -> PairingError:
    remedy = "have a new one made on the machine, on its page This bench" if ended else "read it again and type it"
    what = "there is no code that is good now" if ended else "that is not the code"
    error = PairingError(what, code="code_ended" if ended else "wrong_code", where="code", remedy=remedy)
    error.wait_s = wait_s
    return error
