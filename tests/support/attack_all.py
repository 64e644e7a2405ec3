"""Runs every attack (`attack_*.py` with a function `attack`) for a time, prints the figures, and ends with 1 if something fell.

Started by `python3 tasks.py attack [--minutes N] [--seed S] [--only NAME ...] [--jobs FILE ...] [--json FILE]`.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import json
import os
import platform
import random
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import attack_fields
from attack_figures import Figures, as_data, everything, together, told

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Attack = Callable[[int, float], Sequence[Figures]]

HERE = Path(__file__).parent


def attacks(folder: Path = HERE) -> dict[str, Attack]:
    """Return every attack by its name, `requests` for `attack_requests.py`."""
    found = {}
    for path in sorted(folder.glob("attack_*.py")):
        module = importlib.import_module(path.stem)
        if hasattr(module, "attack"):
            found[path.stem.removeprefix("attack_")] = module.attack
    return found


def run(chosen: dict[str, Attack], *, seed: int, seconds: float) -> list[Figures]:
    """Run each attack for its share of the time; one that breaks off is a fall, and the others go on."""
    found: list[Figures] = []
    for name, attack in chosen.items():
        began = time.monotonic()
        print(f"== {name}, seed {seed}", flush=True)
        try:
            figures = list(attack(seed, seconds / len(chosen)))
        except Exception as error:  # noqa: BLE001  the attack itself is at fault, and says so
            figures = [Figures(name, seconds=time.monotonic() - began)]
            figures[0].fell(f"seed {seed}: the attack broke off: {type(error).__name__}: {error}")
        print(told(figures), flush=True)
        found += figures
    return together(found)


def main(arguments: list[str]) -> int:
    """Run what is asked for and tell what was seen."""
    there = attacks()
    parser = argparse.ArgumentParser(prog="python3 tasks.py attack", description="Attack Gainwright on this machine.")
    parser.add_argument("--minutes", type=float, default=0.0, help="in all; 0 (the default) is the short form")
    parser.add_argument("--seed", type=int, help="draws everything; the default is drawn and printed")
    parser.add_argument("--only", nargs="+", choices=sorted(there), metavar="NAME", help=f"of {', '.join(there)}")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there too")
    parser.add_argument("--jobs", nargs="+", type=Path, default=[], metavar="FILE", help="job files to attack, too")
    asked = parser.parse_args(arguments)
    attack_fields.MORE[:] = [str(path.resolve()) for path in asked.jobs]
    seed = random.SystemRandom().randrange(1 << 30) if asked.seed is None else asked.seed
    chosen = {name: attack for name, attack in there.items() if not asked.only or name in asked.only}
    began = datetime.datetime.now(datetime.UTC)
    found = run(chosen, seed=seed, seconds=60 * asked.minutes)
    machine = f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    print(
        f"\n== in all, {began:%Y-%m-%d}, seed {seed}, {asked.minutes:g} minutes, {machine}\n{told(found)}\n{everything(found)}",
        flush=True,
    )
    if asked.json:
        stated = {"date": f"{began:%Y-%m-%d}", "seed": seed, "minutes": asked.minutes, "machine": machine}
        asked.json.write_text(json.dumps({**stated, "figures": as_data(found)}, indent=1), encoding="utf-8")
    return 0 if all(one.held for one in found) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
