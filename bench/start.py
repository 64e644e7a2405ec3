"""Start-up: the processor time of short commands relative to that of `python -c "import numpy"`, in turn, the least of each.

Exit status 1 when a target is missed. Option: rounds (5).
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

TARGETS = {
    "--help": 1.2,
    "a schema error": 3.0,
    "check": 6.5,
    "levels": 4.5,
    "plan": 6.5,
    "measure": 5.0,
    "music": 15.0,
}
"""Command -> permitted ratio to the processor time of importing numpy; music with its kernel compiled and cached."""


def main(arguments: list[str]) -> int:
    """Measure, print, return the exit status."""
    rounds = int((*arguments, "5")[0])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job, tone, wrong = str(folder / "job.yaml"), str(folder / "tone.wav"), str(folder / "wrong.yaml")
        Path(wrong).write_text("format: 1\nstages:\n  head: {kind: head_unit, volumne: 3}\n", encoding="utf-8")
        # as a person has it: compiled files are kept between runs
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        environment["GAINWRIGHT_CACHE"] = str(folder / "cache")
        ours = (sys.executable, "-m", "gainwright")
        commands = {
            "import numpy": (sys.executable, "-c", "import numpy"),
            "--help": (*ours, "--help"),
            "a schema error": (*ours, "check", wrong),
            "check": (*ours, "check", job),
            "levels": (*ours, "levels", job, "--tone", "1000"),
            "plan": (*ours, "plan", job),
            "measure": (*ours, "measure", tone),
            "music": (*ours, "music", tone, "--no-cache"),
        }
        _cpu_s((*ours, "new", job), environment)
        _cpu_s((*ours, "tones", "--tone", "1000", "--level", "-3", "--seconds", "2", "--out", tone), environment)
        best = dict.fromkeys(commands, math.inf)
        for turn in range(rounds + 1):
            for command, words in commands.items():
                spent_s = _cpu_s(words, environment)
                if turn:  # the first one compiles
                    best[command] = min(best[command], spent_s)
    missed = False
    for command, spent_s in best.items():
        times, target = spent_s / best["import numpy"], TARGETS.get(command, math.inf)
        missed |= times > target
        print(
            f"{command:14} {spent_s:5.2f} s of processor time  {times:5.1f} times importing numpy (target {target:g})"
        )
    print("MISSED" if missed else "passed")
    return int(missed)


def _cpu_s(words: tuple[str, ...], environment: dict[str, str]) -> float:
    """Return the processor time that a command and its own processes take."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(words, env=environment, capture_output=True, check=False)
    refused = any("wrong.yaml" in word for word in words)
    if done.returncode not in ((2,) if refused else (0, 1)):  # 1: something is wrong with the job or the recording
        raise SystemExit(f"{' '.join(words)}: {done.stderr.decode()}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
