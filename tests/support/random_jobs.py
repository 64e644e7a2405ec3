"""Random but realistic jobs, to try plans on chains that weren't designed for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from gainwright.model import Job

_INSTRUMENTS: tuple[dict[str, Any], ...] = (
    {
        "meter": {
            "kind": "multimeter",
            "true_rms": True,
            "accuracy": "1 % + 3 counts",
            "counts": 6000,
            "bandwidth": "2 kHz",
        }
    },
    {
        "meter": {
            "kind": "multimeter",
            "true_rms": False,
            "accuracy": "1.5 % + 5 counts",
            "counts": 4000,
            "bandwidth": "1 kHz",
        }
    },
    {
        "meter": {
            "kind": "multimeter",
            "true_rms": True,
            "accuracy": "1 % + 3 counts",
            "counts": 6000,
            "bandwidth": "1 kHz",
        },
        "interface": {"kind": "recorder", "full_scale": "2 V", "attenuator": "36 dB"},
    },
    {
        "meter": {
            "kind": "multimeter",
            "true_rms": True,
            "accuracy": "1 % + 3 counts",
            "counts": 6000,
            "bandwidth": "1 kHz",
        },
        "lamp": {"kind": "indicator", "marks": {"clip": "thd over 1 %"}},
    },
)


def random_job(seed: int) -> Job:
    """Return a valid job drawn by a seed."""
    job = _Draw(np.random.default_rng(seed)).job()
    return _with_switches(job, np.random.default_rng([seed, 1]))


def _with_switches(job: Job, rng: np.random.Generator) -> Job:
    """Return a job where some amplifiers share a chassis, have a range switch, a remote level or several speakers.

    Drawn apart, so that the jobs of a seed stay as they were but for these.
    """
    content = job.model_dump(by_alias=True, exclude_unset=True)
    shared = rng.random() < 0.3
    for stage in content["stages"].values():
        if stage["kind"] == "amplifier":
            if shared:
                stage["chassis"] = "unit"
            if rng.random() < 0.25:
                stage["input_ranges"] = {"low": stage.pop("sensitivity"), "high": "2 .. 16 V"}
            if rng.random() < 0.25:
                stage["remote_level"] = {"range": "-20 .. 0 dB"}
        elif stage["kind"] == "speaker" and rng.random() < 0.2:
            stage |= {"count": 2, "wiring": "series"}
    return Job.model_validate(content)


class _Draw:
    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.stages: dict[str, dict[str, Any]] = {}

    def pick(self, *options: Any) -> Any:
        return options[int(self.rng.integers(len(options)))]

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def job(self) -> Job:
        groups = [g for g in ("sub", "front", "rear") if self.chance(0.6)] or ["front"]
        rated = self.pick(2, 2.5, 4, 5)
        steps = self.pick(30, 32, 40, 62)
        self.stages["head"] = {
            "kind": "head_unit",
            "rated_output": f"{rated} V",
            "volume": {"steps": steps, "at": int(0.7 * steps)},
            "outputs": {g: {"sides": ["mono"] if g == "sub" else ["left", "right"]} for g in groups},
        }
        outputs = {g: f"head.{g}" for g in groups}
        if self.chance(0.3):
            outputs = {g: self._driver(g, source) for g, source in outputs.items()}
        if self.chance(0.6):
            outputs = self._processor(outputs)
        for group, source in outputs.items():
            self._channel(group, source)
        instruments = _INSTRUMENTS[int(self.rng.integers(len(_INSTRUMENTS)))]
        allowance = {g: f"{self.pick(3, 4, 6, 7, 9)} dB" for g in groups}
        running = f"{self.pick(13.5, 13.8, 14.2, 14.4)} V ± 0.3 V"
        return Job.model_validate(
            {
                "format": 1,
                "title": "random chain",
                "vehicle": {"running": running},
                "allowance": {f"amp_{g}": v for g, v in allowance.items()},
                "instruments": instruments,
                "stages": self.stages,
            }
        )

    def _driver(self, group: str, source: str) -> str:
        name = f"driver_{group}"
        self.stages[name] = {
            "kind": "line_driver",
            "from": source,
            "gain": f"{self.pick(3, 6)} dB",
            "output_limit": "8 V ± 10 %",
        }
        return name

    def _processor(self, sources: dict[str, str]) -> dict[str, str]:
        outputs: dict[str, dict[str, Any]] = {}
        for group in sources:
            corner = self.pick(60, 80, 100)
            key = "low_pass" if group == "sub" else "high_pass"
            shape = self.pick("linkwitz-riley 24", "butterworth 12", "bessel 24")
            outputs[group] = {"from": group, key: f"{shape} at {corner} Hz"}
        self.stages["desk"] = {
            "kind": "processor",
            "inputs": dict(sources),
            "input_limit": f"{self.pick(3, 5, 8)} V ± 5 %",
            "output_limit": f"{self.pick(3, 4)} V ± 5 %",
            "outputs": outputs,
        }
        return {g: f"desk.{g}" for g in sources}

    def _channel(self, group: str, source: str) -> None:
        if group == "sub" and self.chance(0.5):
            self.stages["knob"] = {"kind": "level_control", "from": source, "range": "-40 .. 0 dB", "at": "0 dB"}
            source = "knob"
        power = self.pick(60, 100, 150) if group != "sub" else self.pick(200, 300, 500)
        amplifier: dict[str, Any] = {
            "kind": "amplifier",
            "from": source,
            "power": [f"{power} W @ 4 ohm", f"{round(1.6 * power)} W @ 2 ohm"],
            "sensitivity": f"{self.pick(0.15, 0.2, 0.3)} .. {self.pick(4, 5, 6)} V",
            "gain": {"mutes_at_minimum": self.pick("yes", "no", "unknown")},
            "regulated": self.chance(0.3),
        }
        if group == "sub" and self.chance(0.6):
            amplifier["low_pass"] = f"butterworth {self.pick(12, 24)} at {self.pick(80, 120, 200)} Hz"
        if group == "sub" and self.chance(0.3):
            amplifier["bridged"] = True
        self.stages[f"amp_{group}"] = amplifier
        speaker: dict[str, Any] = {"kind": "speaker", "from": f"amp_{group}", "impedance": "4 ohm"}
        if group == "sub":
            speaker = {
                "kind": "speaker",
                "from": f"amp_{group}",
                "coils": self.pick("2 x 4 ohm parallel", "2 x 2 ohm series"),
            }
        speaker["power"] = f"{round(power * self.pick(0.6, 0.9, 1.5))} W"
        self.stages[group] = speaker
