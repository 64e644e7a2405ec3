"""Pairing of devices by a code that is valid once and for ten minutes; wrong attempts void it and make their sender wait."""

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
from gainwright.harmless import one_line
from gainwright.quantities import normalise_text
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

DIGITS = 8
VALID_S = 600.0
MOST_WRONG = 5
LONGEST_WAIT_S = 900.0
FORGOTTEN_S = 3600.0
MOST_ADDRESSES = 1000
LONGEST_NAME = 40
COOKIE = "__Host-gainwright-device"
"""With this prefix a browser accepts it over TLS only, for this host and its root path (RFC 6265bis)."""
COOKIE_DAYS = 400


class PairingError(CallError):
    """An attempt that failed; `wait_s` is how long others from there are refused."""

    wait_s: float = 0.0


@dataclass(slots=True)
class PairingCode:
    """A code, when it expires, and how many wrong attempts there were."""

    digits: str
    until: float
    wrong: int = 0

    @property
    def shown(self) -> str:
        """The code in two groups."""
        return f"{self.digits[: DIGITS // 2]} {self.digits[DIGITS // 2 :]}"


@dataclass(slots=True)
class _Attempts:
    wrong: int
    last: float
    next: float


@dataclass
class Pairing:
    """Makes codes and checks attempts, one at a time whatever the number of requests.

    Parameters
    ----------
    clock : monotonic time in seconds.
    """

    clock: Callable[[], float] = time.monotonic
    _code: PairingCode | None = None
    _attempts: OrderedDict[str, _Attempts] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def new_code(self) -> PairingCode:
        """Make a code; the previous one is void."""
        with self._lock:
            self._code = PairingCode(f"{secrets.randbelow(10**DIGITS):0{DIGITS}}", self.clock() + VALID_S)
            return self._code

    @property
    def code(self) -> PairingCode | None:
        """The valid code, if any."""
        with self._lock:
            return self._valid()

    @property
    def left_s(self) -> float:
        """How long the code is still valid, in s."""
        code = self.code
        return 0.0 if code is None else code.until - self.clock()

    def take(self, typed: str, *, address: str) -> None:
        """Use the code up.

        Raises
        ------
        PairingError : the code is wrong, there is none, or the address must wait; an attempt while waiting isn't checked.
        """
        sender = address_group(address)
        with self._lock:
            now = self.clock()
            attempts = self._attempts.get(sender)
            if attempts is not None and now < attempts.next:
                raise _waiting(attempts.next - now)
            code = self._valid()
            if code is not None and secrets.compare_digest(
                _plain(typed).encode(errors="replace"), code.digits.encode()
            ):
                self._code = None
                self._attempts.pop(sender, None)
                return
            wait_s = self._note(sender, now)
            if code is not None:
                code.wrong += 1
            ended = self._valid() is None
        raise _wrong(ended=ended, wait_s=wait_s)

    def _valid(self) -> PairingCode | None:
        if self._code is not None and (self._code.wrong >= MOST_WRONG or self.clock() >= self._code.until):
            self._code = None
        return self._code

    def _note(self, sender: str, now: float) -> float:
        attempts = self._attempts.pop(sender, None)
        wrong = 1 if attempts is None or now - attempts.last > FORGOTTEN_S else attempts.wrong + 1
        wait_s = min(2.0**wrong, LONGEST_WAIT_S)
        self._attempts[sender] = _Attempts(wrong, now, now + wait_s)
        while len(self._attempts) > MOST_ADDRESSES:
            self._attempts.popitem(last=False)
        return wait_s


def device_name(typed: str, *, taken: set[str]) -> str:
    """Return a device's name as it is stored: one line of visible characters, different from all others.

    Raises
    ------
    PairingError : no letter or digit is left.
    """
    # characters that turn or hide text would let one device pass for another
    name = one_line(unicodedata.normalize("NFC", typed))[:LONGEST_NAME].strip()
    if not any(c.isalnum() for c in name):
        raise PairingError(
            say("a device needs a name"),
            code="no_name",
            where="name",
            remedy=say("write, for example, phone in the bay"),
        )
    known = {_folded(other) for other in taken}
    if _folded(name) not in known:
        return name
    return next(tried for n in range(2, 10_000) if _folded(tried := f"{name[: LONGEST_NAME - 5]} {n}") not in known)


def new_token() -> str:
    """Return a token for a device: 256 random bits."""
    return secrets.token_urlsafe(32)


def digest_of(token: str) -> str:
    """Return the SHA-256 digest of a token, which is stored instead of it."""
    return hashlib.sha256(token.encode()).hexdigest()


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()


def _plain(typed: str) -> str:
    """Return a code without blanks and hyphens; decimal digits of any script become ASCII."""
    return "".join(str(unicodedata.decimal(c, c)) for c in re.sub(r"[\s-]", "", normalise_text(typed)))


def address_group(address: str) -> str:
    """Return what attempts and connections are counted by: an IPv4 address, or the IPv6 network of one site (RFC 6177)."""
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
        say("after wrong codes this device must wait {seconds} s more", seconds=seconds),
        code="must_wait",
        where="code",
        remedy=say("meanwhile look up the code on the computer's own screen"),
    )
    error.wait_s = wait_s
    return error


def _wrong(*, ended: bool, wait_s: float) -> PairingError:
    remedy = "make a new one on the computer, on its page System" if ended else "check it and enter it again"
    what = "there is no valid code" if ended else "wrong code"
    error = PairingError(what, code="code_ended" if ended else "wrong_code", where="code", remedy=remedy)
    error.wait_s = wait_s
    return error
