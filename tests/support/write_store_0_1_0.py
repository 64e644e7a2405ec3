"""Writes tests/support/store_0_1_0.sql with the code of version 0.1.0 itself, the last of which is COMMIT.

Started so:

git archive e6d59e8d src | tar x -C OLD
PYTHONPATH=OLD/src python tests/support/write_store_0_1_0.py > tests/support/store_0_1_0.sql
"""

from __future__ import annotations

import io
import json
import math
import os
import sqlite3
import struct
import subprocess
import sys
import tempfile
import wave
from contextlib import closing
from pathlib import Path
from typing import Any

COMMIT = "e6d59e8d"
HEAD = f"-- A store that the code of 0.1.0 (commit {COMMIT}) wrote, as statements; made by write_store_0_1_0.py."
CAR = """\
# the blue estate, as its owner told it
format: 1
title: Blue estate
vehicle: {running: 13.8 V}
allowance: 7 dB
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 V
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 W @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 V
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm²}}
"""
CLOSED = {"cause": "lead_open", "where": "sub", "note": "a connector", "on": "2026-11-22"}


def _gainwright(folder: Path, *arguments: str) -> str:
    """Run the old command, as its user did."""
    command = (sys.executable, "-m", "gainwright", *arguments)
    environment = {**os.environ, "PYTHONUTF8": "1"}
    return subprocess.run(
        command, cwd=folder, env=environment, check=True, capture_output=True, encoding="utf-8"
    ).stdout


def _tone() -> bytes:
    """Return a recording of a tenth of a second: 500 Hz, 3 dB below full scale."""
    tone = [round(32767 * 0.708 * math.sin(2 * math.pi * 500 * at / 4000)) for at in range(400)]
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setparams((1, 2, 4000, 0, "NONE", ""))
        file.writeframes(struct.pack("<400h", *tone))
    return held.getvalue()


def _fill(folder: Path, store: Any) -> None:
    from gainwright.model.case import Case

    job = store.jobs.add(title="Blue estate", text=CAR)
    store.jobs.write(job.id, title="Blue estate", text=f"{CAR}# seen again in May\n", seen=1, by="bench")
    told = {"step": "gain", "kind": "reading", "by": "phone"}
    store.runs.add(job.id, **told, text="2,1 V", value={"v": 2.1}, seen=0)
    (folder / "tone.wav").write_bytes(_tone())
    measured = json.loads(_gainwright(folder, "measure", "tone.wav", "--json"))
    content = (folder / "tone.wav").read_bytes()
    store.recordings.add(job.id, name="tone.wav", content=content, measured=measured)
    gone = store.jobs.add(title="Sold", text=CAR.replace("Blue estate", "Sold"))
    store.jobs.put(gone.id, "deleted")
    store.devices.add(name="Anna's phone", token_digest="0" * 64)
    lost = store.devices.add(name="Lost tablet", token_digest="1" * 64)
    store.devices.put_out(lost.id)
    store.documents.put("shop", "one", {"title": "first"})
    store.cases.write("blue-estate", Case(opened="2026-11-20", job=CAR), seen=0)
    store.cases.write("red-van", Case(opened="2026-11-21", job=CAR, closed=CLOSED), seen=0)


def main() -> int:
    """Make the store, and print it as statements."""
    import gainwright
    from gainwright.composition import World  # type: ignore[attr-defined]  # of that version

    if gainwright.__version__ != "0.1.0":
        sys.stderr.write(f"this is {gainwright.__version__}; put the code of {COMMIT} on the path\n")
        return 1
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "store.sqlite"
        store = World().store(str(file))
        _fill(Path(folder), store)
        store.close()
        with closing(sqlite3.connect(file)) as connection:
            sys.stdout.write("\n".join([HEAD, *connection.iterdump(), ""]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
