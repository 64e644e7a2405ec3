"""A pairing code is valid once, for ten minutes and five wrong attempts; a device's name is one line and unique."""

from __future__ import annotations

import threading
import unicodedata
from dataclasses import dataclass

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gainwright.web.network.pairing import (
    LONGEST_NAME,
    LONGEST_WAIT_S,
    Pairing,
    PairingError,
    device_name,
    digest_of,
    new_token,
)


@dataclass
class Clock:
    """A clock that is put on by hand."""

    now: float = 1000.0

    def __call__(self) -> float:
        return self.now


def wrong_for(digits: str) -> str:
    """Return a code that is not this one."""
    return f"{(int(digits) + 1) % 10**8:08}"


def test_code_is_valid_once_however_it_is_typed() -> None:
    """Blanks, hyphens and digits of another script give the same code; a second use is refused."""
    pairing = Pairing(Clock())
    for typed in ("{0} {1}", "{0}-{1}", " {0}\u00a0{1} ", "{0}\u2011{1}"):
        digits = pairing.new_code().digits
        pairing.take(typed.format(digits[:4], digits[4:]), address="192.168.1.7")
        with pytest.raises(PairingError) as refused:
            pairing.take(digits, address="192.168.1.8")
        assert refused.value.code == "code_ended"
        pairing = Pairing(Clock())
    digits = pairing.new_code().digits
    pairing.take("".join(chr(0x0660 + int(d)) for d in digits), address="192.168.1.7")


@given(st.text(max_size=30))
@example("\ud800")
@example("")
@example("０" * 8)
def test_any_typed_text_is_refused(typed: str) -> None:
    """With a sentence; hypothesis would have to guess one code in a hundred million."""
    pairing = Pairing(Clock())
    code = pairing.new_code()
    with pytest.raises(PairingError):
        pairing.take(typed + "x", address="192.168.1.7")
    assert code.wrong == 1


def test_code_expires_after_ten_minutes_or_with_a_new_one() -> None:
    """A code is valid for ten minutes, and void as soon as there is another."""
    clock = Clock()
    pairing = Pairing(clock)
    first = pairing.new_code().digits
    there = {}
    for left in (0.1, 0.0):
        clock.now = 1600.0 - left
        there[left] = pairing.code is not None
    assert there == {0.1: True, 0.0: False}
    with pytest.raises(PairingError, match="no valid code"):
        pairing.take(first, address="192.168.1.7")
    second = pairing.new_code().digits
    third = pairing.new_code().digits
    if second != third:
        with pytest.raises(PairingError, match="wrong code"):
            pairing.take(second, address="192.168.1.9")


def test_five_wrong_attempts_void_a_code() -> None:
    """Five addresses with one wrong attempt each: the sixth address with the right code is too late."""
    pairing = Pairing(Clock())
    digits = pairing.new_code().digits
    for last in range(5):
        assert pairing.code is not None
        with pytest.raises(PairingError) as refused:
            pairing.take(wrong_for(digits), address=f"192.168.1.{last}")
        assert refused.value.code == ("wrong_code" if last < 4 else "code_ended")
    assert pairing.code is None
    with pytest.raises(PairingError, match="no valid code"):
        pairing.take(digits, address="192.168.1.77")


def test_waits_grow_and_codes_are_ignored_meanwhile() -> None:
    """An address that was wrong waits 2, 4, 8 ... s up to a quarter of an hour; the right code doesn't shorten it."""
    clock = Clock()
    pairing = Pairing(clock)
    waits = []
    for _ in range(12):
        digits = pairing.new_code().digits
        with pytest.raises(PairingError) as refused:
            pairing.take(wrong_for(digits), address="10.0.0.9")
        waits.append(refused.value.wait_s)
        clock.now += refused.value.wait_s - 0.01
        digits = pairing.new_code().digits
        with pytest.raises(PairingError) as early:
            pairing.take(digits, address="10.0.0.9")
        assert early.value.code == "must_wait"
        assert pairing.code is not None
        assert pairing.code.wrong == 0
        clock.now += 0.02
    assert waits == [min(2.0**n, LONGEST_WAIT_S) for n in range(1, 13)]
    pairing.take(pairing.new_code().digits, address="10.0.0.9")  # the wait is over
    with pytest.raises(PairingError) as anew:
        pairing.take("x", address="10.0.0.9")
    assert anew.value.wait_s == 2.0


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("192.168.1.7", "::ffff:192.168.1.7", True),
        ("fd00::1", "fd00::ffff:2", True),
        ("fd00::1", "fd00:0:0:1::1", False),
        ("192.168.1.7", "192.168.1.8", False),
    ],
)
def test_wait_applies_to_all_forms_of_an_address(one: str, other: str, same: bool) -> None:
    """An address and its mapped form count as one, and so do all addresses of one IPv6 network."""
    pairing = Pairing(Clock())
    digits = pairing.new_code().digits
    with pytest.raises(PairingError):
        pairing.take(wrong_for(digits), address=one)
    if same:
        with pytest.raises(PairingError, match="must wait"):
            pairing.take(digits, address=other)
    else:
        pairing.take(digits, address=other)


def test_one_of_many_concurrent_attempts_succeeds() -> None:
    """Forty threads with the right code: exactly one is accepted."""
    pairing = Pairing(Clock())
    digits = pairing.new_code().digits
    got_in: list[int] = []
    start = threading.Barrier(40)

    def attempt(number: int) -> None:
        start.wait()
        try:
            pairing.take(digits, address=f"192.168.2.{number}")
        except PairingError:
            return
        got_in.append(number)

    threads = [threading.Thread(target=attempt, args=(n,)) for n in range(40)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got_in) == 1


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("  phone \t in\nthe bay ", "phone in the bay"),
        ("safe\u202egnp.exe", "safegnp.exe"),
        ("a\u200bb\ufeff", "ab"),
        ("<b>x</b>", "<b>x</b>"),
        ("Cafe\u0301", "Café"),
        ("x" * 300, "x" * LONGEST_NAME),
        ("this machine", "this machine 2"),
        ("THIS\u00a0MACHINE", "THIS MACHINE 2"),
        ("ｔｈｉｓ machine", "ｔｈｉｓ machine 2"),
        ("Tablet", "Tablet 3"),
    ],
)
def test_device_name_is_one_visible_line_and_unique(typed: str, kept: str) -> None:
    """Characters that hide or reverse text are removed; a name that could be taken for another gets a number."""
    assert device_name(typed, taken={"this machine", "tablet", "Tablet 2"}) == kept


@given(st.text(max_size=80), st.sets(st.text(min_size=1, max_size=8), max_size=5))
def test_any_device_name_is_cleaned_or_refused(typed: str, taken: set[str]) -> None:
    """The stored name has no control or format characters, is short, and differs from all others."""
    try:
        kept = device_name(typed, taken=taken)
    except PairingError as refused:
        assert refused.code == "no_name"
        return
    assert kept == kept.strip()
    assert 0 < len(kept) <= LONGEST_NAME
    assert not {unicodedata.category(c)[0] for c in kept} & {"C"}
    assert kept not in taken
    kept.encode()


def test_tokens_are_long_random_and_stored_as_digests() -> None:
    """256 bits each, never the same twice; the store has a digest that can't be reversed."""
    tokens = {new_token() for _ in range(200)}
    assert len(tokens) == 200
    assert {len(token) for token in tokens} == {43}  # 256 bits in base64
    token = tokens.pop()
    assert token not in digest_of(token)
    assert len(digest_of(token)) == 64
