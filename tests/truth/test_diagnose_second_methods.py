"""Fault finding against two other methods: exact inference over what the rig shows, and chains that ngspice solves."""

from __future__ import annotations

import logging
import math
import warnings
from typing import Any

import numpy as np
import pytest
from netlist import STEPS, Netlist

from gainwright.diagnose import Cause, Diagnoser, learn_values, make_diagnosis
from gainwright.diagnose.unit_answers import SURE
from gainwright.jobfile import example_text, read_entry, read_job_text, with_settings
from gainwright.model import Job
from gainwright.simulated import Fault, Rig, answer

# ---- a small chain, exactly --------------------------------------------------------------------------------------

SMALL = """
format: 1
title: small
vehicle: {running: 13.8 V}
instruments: {meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}}
stages:
  head: {kind: head_unit, rated_output: 2 V, volume: {steps: 40, at: 40, step: 1 dB, top: 0 dB}, outputs: {sub: {sides: [mono]}}}
  amp: {kind: amplifier, from: head.sub, power: 200 W @ 4 ohm, sensitivity: 0.2 .. 4 V, gain: {at: 50 %}}
  sub: {kind: speaker, from: amp, impedance: 4 ohm}
"""
CERTAIN = (
    Cause("nothing_wrong", ""),
    Cause("lead_open", "lead:head.sub-amp"),
    Cause("lead_shorted", "lead:head.sub-amp"),
    Cause("lead_open", "lead:amp-sub"),
    Cause("source_muted", "head"),
    Cause("gain_muted", "amp"),
    Cause("amplifier_no_turn_on", "amp"),
    Cause("amplifier_no_supply", "amp"),
    Cause("amplifier_protecting", "amp"),
    Cause("speaker_open", "sub"),
    Cause("measuring_lead_open", "meter"),
)
"""Causes without a hidden amount: what they give is certain, but for a wrong answer now and then."""
QUESTIONS: dict[str, tuple[dict[str, Any], str, tuple[str, ...]]] = {
    "power lamp": ({"check": "amp.power_lamp"}, "lamp", ("on", "off")),
    "turn-on": ({"check": "amp.turn_on_voltage"}, "volts", ("13.5 V", "0 V")),
    "supply": ({"check": "amp.supply_voltage"}, "volts", ("13.8 V", "0 V", "9 V")),
    "speaker": ({"check": "sub.resistance"}, "ohms", ("right", "open", "short", "low", "high")),
    "mute": ({"check": "head.mute"}, "look", ("right", "wrong")),
    "gain": ({"check": "amp.gain"}, "look", ("right", "wrong")),
    "measuring lead": ({"check": "meter"}, "lead", ("good", "open", "shorted")),
}
EVIDENCE = (
    {"power lamp": 0},
    {"power lamp": 1, "turn-on": 1},
    {"power lamp": 0, "speaker": 1, "gain": 0},
    {"mute": 1, "supply": 0, "turn-on": 0},
    {"measuring lead": 1, "power lamp": 1, "gain": 0, "mute": 0},
    {"power lamp": 1, "supply": 1, "turn-on": 0, "speaker": 0, "gain": 0, "mute": 0, "measuring lead": 0},
)
RESULTS: dict[str, tuple[dict[str, str], ...]] = {
    "power lamp": ({"is": "on"}, {"is": "off"}),
    "turn-on": ({"reads": "13.5 V"}, {"reads": "0 V"}),
    "supply": ({"reads": "13.8 V"}, {"reads": "0 V"}, {"reads": "9 V"}),
    "speaker": ({"reads": "3.4 ohm"}, {"reads": "open"}, {"reads": "0.1 ohm"}, {"reads": "2 ohm"}, {"reads": "9 ohm"}),
    "mute": ({"is": "right"}, {"is": "wrong"}),
    "gain": ({"is": "right"}, {"is": "wrong"}),
    "measuring lead": (
        {"resistance": "0.2 ohm", "between_conductors": "open"},
        {"resistance": "open", "between_conductors": "open"},
        {"resistance": "0.2 ohm", "between_conductors": "0.1 ohm"},
    ),
}


def shown(rig: Rig, name: str, job: Job) -> int:
    """Return which answer the rig gives to a question."""
    said = answer(rig, read_entry(QUESTIONS[name][0], job, answered=False))
    if name in ("power lamp", "mute", "gain"):
        return [r["is"] for r in RESULTS[name]].index(said["is"])
    if name == "measuring lead":
        return 1 if said["resistance"] == "open" else 2 if said["between_conductors"] != "open" else 0
    if said["reads"] == "open":
        return 1
    value = float(said["reads"].split()[0])
    return int(value < 1) if name in ("turn-on", "supply") else 0


def exact(prior: np.ndarray, job: Job, seen: dict[str, int]) -> np.ndarray:
    """Return pgmpy's posterior: tables from what the rig shows under each cause, wrong as often as is stated."""
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own deprecations
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork
    rigs = [Rig(job, seed=1, faults=() if c.id == "nothing_wrong" else (Fault(c.id, c.where),)) for c in CERTAIN]
    model = DiscreteBayesianNetwork([("cause", name) for name in seen])
    model.add_cpds(TabularCPD("cause", len(prior), [[p] for p in prior]))
    for name in seen:
        _, kind, answers = QUESTIONS[name]
        # the lead of a measuring instrument is checked in two looks, each wrong by itself
        table = np.full((len(answers), len(CERTAIN)), (1 - SURE[kind]) / (len(answers) - 1))
        for i, rig in enumerate(rigs):
            table[shown(rig, name, job), i] = SURE[kind]
        if name == "measuring lead":
            table = _two_looks(rigs, job)
        model.add_cpds(TabularCPD(name, len(table), table.tolist(), evidence=["cause"], evidence_card=[len(prior)]))
    query = VariableElimination(model).query(["cause"], evidence=seen, show_progress=False)
    return np.asarray(query.values, dtype=np.float64)


def _two_looks(rigs: list[Rig], job: Job) -> np.ndarray:
    """Return the probability of good, open, shorted and both, if ohms end to end and between are each right so often."""
    sure, table = SURE["lead"], np.zeros((4, len(rigs)))
    for i, rig in enumerate(rigs):
        state = shown(rig, "measuring lead", job)
        is_open, touches = (sure if state == 1 else 1 - sure), (sure if state == 2 else 1 - sure)
        table[:, i] = (1 - is_open) * (1 - touches), is_open * (1 - touches), (1 - is_open) * touches, is_open * touches
    return table


@pytest.mark.parametrize("case", range(len(EVIDENCE)))
def test_a_small_chain_against_exact_inference(case: int) -> None:
    """The posterior of causes with certain answers is pgmpy's exact one; the physics comes from the rig."""
    job = read_job_text(SMALL).job
    diagnoser = Diagnoser(job)
    prior = np.array([diagnoser.priors[diagnoser.causes.index(c)] for c in CERTAIN])
    seen = EVIDENCE[case]
    entries = [read_entry(QUESTIONS[name][0] | RESULTS[name][k], job) for name, k in seen.items()]
    state = diagnoser.weigh(entries)
    # two causes at once, which the network doesn't have, are left aside
    mine = np.array([state.probability[state.hypotheses.index((c,))] for c in CERTAIN])
    wanted = exact(prior / prior.sum(), job, seen)
    assert mine / mine.sum() == pytest.approx(wanted, abs=5e-4)


# ---- chains that ngspice solves ----------------------------------------------------------------------------------


def spice_volts(job: Job, diagnoser: Diagnoser, changed: dict[str, float], stand: dict[str, float]) -> dict[str, float]:
    """Return the rms at every node by an ngspice transient, with some numbers or controls different from the job."""
    chain = diagnoser.chain
    values = chain.nominal() | {p: 0.0 for p in chain.facts if p.endswith("gain.mutes")} | changed
    net = Netlist(job, chain.wiring, values, chain.settings | stand, tone_hz=50.0, level_dbfs=-8.0)
    waves = net.run(periods=20)
    return {str(node): math.sqrt(float(np.mean(wave[:STEPS] ** 2))) for node, wave in waves.items()}


SPICE: dict[str, tuple[Cause, dict[str, float], dict[str, float]]] = {
    "nothing wrong": (Cause("nothing_wrong", ""), {}, {}),
    "a resistive lead": (Cause("lead_resistive", "lead:head.sub-amp"), {"lead:head.sub-amp.resistance": 90e3}, {}),
    "gain lower than written": (Cause("gain_low", "amp"), {}, {"amp.gain": 0.02}),
    "gain higher than written": (Cause("gain_high", "amp"), {}, {"amp.gain": 0.9}),
    "a broken lead": (Cause("lead_open", "lead:head.sub-amp"), {"lead:head.sub-amp.resistance": 1e11}, {}),
    "a weak source": (Cause("source_low", "head"), {"head.output_limit": 0.06, "head.volume.top": 0.0}, {}),
}
LEAD = "lead:head.sub-amp"


@pytest.mark.parametrize("name", SPICE)
def test_faults_in_a_netlist_are_found(name: str) -> None:
    """The caller reads both ends, the lead and the gain's position, whatever is wrong, as ngspice solves the faulty chain.

    The meter has its own error; the lead's ohms and the place of the gain are those of the netlist. The cause is among
    the first two at the end.
    """
    cause, changed, stand = SPICE[name]
    job = with_settings(read_job_text(example_text("one_amplifier")).job, {"amp.gain": "40 %"})
    diagnoser = Diagnoser(job)
    volts = spice_volts(job, diagnoser, changed, stand)
    rng = np.random.default_rng(5)

    def read(node: str) -> dict[str, Any]:
        reads = f"{volts[node] * (1 + 0.01 * rng.uniform(-1, 1)):.4f} V"
        return {"at": node, "with": "meter", "tone": "50 Hz", "level": "-8 dBFS", "reads": reads}

    ohm = (diagnoser.chain.nominal() | changed)[f"{LEAD}.resistance"]
    lead = "open" if ohm > 50e6 else f"{ohm:.3g} ohm"  # what a handheld meter shows
    gain = (diagnoser.chain.settings | stand)["amp.gain"]
    said = [
        read("head.sub.mono"),
        read("amp.out.mono"),
        {"check": LEAD, "resistance": lead, "between_conductors": "open"},
        {"check": "amp.gain", "is": "right" if abs(gain - 0.4) < 0.02 else "wrong"},
    ]
    found = make_diagnosis(diagnoser, [read_entry(s, job) for s in said])
    assert (cause.id, cause.where) in [(c.cause, c.where) for c in found.causes[:2]], found.causes[:4]
    assert found.causes[0].probability < 1


# ---- what readings teach -----------------------------------------------------------------------------------------


def test_inferred_numbers_contain_the_truth() -> None:
    """Over forty rigs: after two readings the interval of a third contains its value, and is narrower than before."""
    job = with_settings(read_job_text(example_text("one_amplifier")).job, {"amp.gain": "40 %"})
    diagnoser = Diagnoser(job)
    held, narrower = [], []
    for seed in range(40):
        rig = Rig(job, seed=seed)
        asked = {"with": "meter", "tone": "50 Hz", "level": "-8 dBFS"}
        entries = [
            read_entry(answer(rig, read_entry({"at": node, **asked}, job, answered=False)), job)
            for node in ("head.sub.mono", "amp.out.mono")
        ]
        drawn, _ = learn_values(diagnoser, entries)
        chain = diagnoser.chain
        for path in ("amp.gain.bend",):
            low, high = np.quantile(drawn[path], [0.025, 0.975])
            held.append(low <= rig.truth[path] <= high)
            narrower.append(high - low < 0.7 * np.ptp(chain.facts[path].quantity.interval))
    assert np.mean(held) > 0.85
    assert np.mean(narrower) > 0.9
