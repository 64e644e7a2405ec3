"""Values and files that programs stumble over, drawn from a seed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from gainwright.app.tones import tone_wav
from gainwright.jobfile import example_text, examples

if TYPE_CHECKING:
    import random
    from collections.abc import Mapping

TEXTS = (
    *("", " ", "0", "-0", "-1", "1", "2.5", "1e308", "-1e308", "1e-320", "1e400", "nan", "inf", "-inf", "9" * 5_000),
    *(
        "²",
        "٣",
        "0x10",
        "0x" + "f" * 5_000,
        "1_000",
        "true",
        "null",
        "[]",
        "{}",
        "[" * 3_000,
        "{" * 3_000,
        "&a [*a, *a]",
        "!!python/none x",
    ),
    *(
        "\0",
        "a\0b",
        "\x1b[31m",
        "\u202e",
        "\ufeff",
        "\u2028",
        "é",
        "😀",
        "<script>alert(1)</script>",
        "{{ 7 * 7 }}",
        "%s%n",
    ),
    *("' OR 1=1 --", '"', "=2+3", "../../../none", "..\\none", "none/../none", "C:none", "a" * 70_000, "\r\nX-Odd: 1"),
    *(
        "2026-02-30",
        "9999-99-99",
        "13 V at 40 %",
        "-12 dB",
        "1 kHz",
        "silent",
        "front",
        "left",
        "yes",
        "prepare.supply",
    ),
)
NUMBERS = (0, -1, 1, 2, 10**30, -(10**30), 10**4_500, 0.0, -0.0, 1e308, 1e-320, 0.5)
"""10**4_500 is an integer that Python refuses to turn into decimal digits by itself."""


def value(chance: random.Random, depth: int = 0) -> Any:
    """Return an odd value that JSON can hold."""
    kind = chance.randrange(9 if depth < 3 else 6)
    if kind < 3:
        return chance.choice(TEXTS)
    if kind == 3:
        return chance.choice(NUMBERS[:6] + NUMBERS[7:])
    if kind < 6:
        return chance.choice((None, True, False))
    if kind == 6:
        return {chance.choice(TEXTS)[:200]: value(chance, depth + 1) for _ in range(chance.randrange(4))}
    return [value(chance, depth + 1) for _ in range(chance.randrange(4))]


def like(schema: Mapping[str, Any], definitions: Mapping[str, Any], chance: random.Random, depth: int = 0) -> Any:
    """Return a value that mostly follows a JSON schema of the OpenAPI document, with odd ones in between."""
    if depth > 6 or chance.random() < 0.12:
        return value(chance)
    if "$ref" in schema:
        return like(definitions[schema["$ref"].rsplit("/", 1)[-1]], definitions, chance, depth + 1)
    if "anyOf" in schema:
        return like(chance.choice(schema["anyOf"]), definitions, chance, depth + 1)
    if "enum" in schema:
        return chance.choice(schema["enum"])
    if "const" in schema:
        return schema["const"]
    return _of_type(schema, definitions, chance, depth)


def _of_type(schema: Mapping[str, Any], definitions: Mapping[str, Any], chance: random.Random, depth: int) -> Any:
    kind = schema.get("type")
    if kind == "object":
        named = schema.get("properties", {})
        kept = [n for n in named if n in schema.get("required", ()) or chance.random() < 0.5]
        return {n: like(named[n], definitions, chance, depth + 1) for n in kept if chance.random() < 0.97}
    if kind == "array":
        return [like(schema.get("items", {}), definitions, chance, depth + 1) for _ in range(chance.randrange(4))]
    if kind in ("integer", "number"):
        return chance.choice((0, 1, 2, -1, 3, 1000)) if chance.random() < 0.7 else chance.choice(NUMBERS[:6])
    return chance.choice((True, False, None)) if kind in ("boolean", "null") else chance.choice(TEXTS)


def changed(content: bytes, chance: random.Random) -> bytes:
    """Return bytes with some of them changed, taken out, doubled or put elsewhere."""
    found = bytearray(content)
    for _ in range(chance.randrange(1, 6)):
        at, length = chance.randrange(len(found) + 1), chance.choice((1, 1, 4, 50, 1_000))
        way = chance.randrange(4)
        if way == 0:
            found[at : at + length] = chance.randbytes(length)
        elif way == 1:
            del found[at : at + length]
        elif way == 2:
            found[at:at] = found[at : at + length] or b"0"
        else:
            found[at:at] = chance.choice(TEXTS).encode("utf-8", "replace")[:2_000]
    return bytes(found)


def file(chance: random.Random) -> tuple[str, bytes]:
    """Return the name and the content of a file to send: a job, a recording, a table, or nothing of the kind."""
    kind = chance.randrange(6)
    name = chance.choice(("a.wav", "a.yaml", "a.csv", "a.png", "a.json", chance.choice(TEXTS)[:300] or "x"))
    if kind == 0:
        content = tone_wav(tone_hz=1000, level_dbfs=-6, seconds=0.05, sides="both")
    elif kind == 1:
        content = example_text(chance.choice(list(examples()))).encode()
    elif kind == 2:
        content = b"step,v_rms\n1,0.1\n2,0.2\n3,0.3\n"
    elif kind == 3:
        content = b"\x89PNG\r\n\x1a\n" + chance.randbytes(200)
    elif kind == 4:
        content = json.dumps(value(chance)).encode("utf-8", "replace")
    else:
        content = chance.randbytes(chance.choice((0, 1, 44, 3_000)))
    return name, content if chance.random() < 0.3 else changed(content, chance)
