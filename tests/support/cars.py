"""Invented cars for tests, each a kind of system that the shipped examples leave out."""

from __future__ import annotations

THREE_AMPLIFIERS = """
format: 1
title: Grey estate, active three-way front with only a meter and a lamp
vehicle: {description: estate, running: 14.3 V ± 0.2 V}
allowance: {high: 2 dB, mid: 4 dB, bass: 6 dB, sub: 9 dB}
instruments:
  dmm: {kind: multimeter, true_rms: yes, accuracy: 0.9 % + 4 counts, counts: 6000, bandwidth: 1 kHz}
  scope: {kind: indicator, marks: {bent: thd over 2 %}}
stages:
  head:
    kind: head_unit
    rated_output: 4 V
    volume: {steps: 44}
    outputs:
      front: {sides: [left, right]}
      sub: {sides: [left, right]}
  desk:
    kind: processor
    inputs: {front: head.front, sub: head.sub}
    input_limit: 4.4 V
    output_limit: 4 V
    outputs:
      high: {from: front, high_pass: linkwitz-riley 24 at 3.4 kHz, level: -3 dB}
      mid:  {from: front, high_pass: linkwitz-riley 24 at 280 Hz, low_pass: linkwitz-riley 24 at 3.4 kHz}
      bass: {from: front, high_pass: butterworth 24 at 65 Hz, low_pass: linkwitz-riley 24 at 280 Hz}
      sub:  {from: sub, sides: [mono], high_pass: butterworth 24 at 22 Hz, low_pass: linkwitz-riley 24 at 65 Hz}
  amp_high: {kind: amplifier, from: desk.high, power: 70 W @ 4 ohm, sensitivity: 0.3 .. 6 V}
  amp_mid:  {kind: amplifier, from: desk.mid, power: 70 W @ 4 ohm, sensitivity: 0.3 .. 6 V}
  amp_bass: {kind: amplifier, from: desk.bass, power: [140 W @ 4 ohm, 220 W @ 2 ohm], sensitivity: 0.3 .. 6 V}
  amp_sub:  {kind: amplifier, from: desk.sub, bridged: yes, power: 1500 W @ 2 ohm, sensitivity: 0.2 .. 6 V, low_pass: off}
  tweeter: {kind: speaker, from: amp_high, impedance: 4 ohm, power: 25 W, protect_below: 2.5 kHz}
  mid:  {kind: speaker, from: amp_mid, impedance: 4 ohm, power: 40 W, protect_below: 240 Hz}
  bass: {kind: speaker, from: amp_bass, impedance: 3 ohm, power: 120 W}
  sub:  {kind: speaker, from: amp_sub, coils: 2 x 1 ohm series, power: 1200 W}
"""

AT_THE_AMPLIFIER = """
format: 1
title: Five channels, every crossover at the amplifier
vehicle: {description: hatchback}
instruments:
  dmm: {kind: multimeter, true_rms: no, accuracy: 2 % + 8 counts, counts: 2000, bandwidth: 400 Hz}
stages:
  head:
    kind: head_unit
    rated_output: 2 V
    volume: {steps: 50}
    outputs: {front: {}, sub: {sides: [left, right]}}
  amp_front: {kind: amplifier, from: head.front, power: [55 W @ 4 ohm, 80 W @ 2 ohm], sensitivity: 0.2 .. 6 V, high_pass: butterworth 12 at 90 Hz, high_pass_range: 40 .. 400 Hz}
  knob: {kind: level_control, from: head.sub, range: -20 .. 0 dB, at: -6 dB}
  amp_sub: {kind: amplifier, from: knob, sides: [mono], power: [280 W @ 4 ohm, 450 W @ 2 ohm], sensitivity: 0.2 .. 6 V, low_pass: butterworth 12 at 80 Hz, low_pass_range: 50 .. 200 Hz}
  front: {kind: speaker, from: amp_front, impedance: 4 ohm, power: 60 W}
  sub: {kind: speaker, from: amp_sub, coils: 2 x 4 ohm parallel, power: 400 W}
"""

HEAD_UNIT_ALONE = """
format: 1
title: A head unit's own power
vehicle: {description: small car}
instruments:
  dmm: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 4000, bandwidth: 500 Hz}
stages:
  head:
    kind: head_unit
    rated_output: 9 V
    speaker_level: yes
    volume: {steps: 36}
    outputs:
      front: {high_pass: butterworth 12 at 110 Hz, high_pass_range: 60 .. 200 Hz or off}
      rear: {}
  front: {kind: speaker, from: head.front, impedance: 4 ohm, power: 30 W}
  rear: {kind: speaker, from: head.rear, impedance: 4 ohm, power: 30 W}
"""

BANDS_SUMMED = """
format: 1
title: Van, a factory amplifier's bands summed again
vehicle: {description: van}
instruments:
  dmm: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 2 kHz}
stages:
  factory:
    kind: head_unit
    rated_output: 8 V
    speaker_level: yes
    volume: {steps: 38}
    outputs:
      door: {high_pass: linkwitz-riley 24 at 150 Hz, high_pass_range: fixed}
      shelf: {low_pass: linkwitz-riley 24 at 150 Hz, low_pass_range: fixed}
  summing: {kind: converter, from: [factory.door, factory.shelf], input_limit: 20 V, ratio: -12 dB ± 0.5 dB}
  amp: {kind: amplifier, from: summing, power: 80 W @ 4 ohm, sensitivity: 0.2 .. 5 V}
  front: {kind: speaker, from: amp, impedance: 4 ohm, power: 90 W}
"""

AMPLIFIER_BEFORE = """
format: 1
title: A factory amplifier kept before a converter and a processor
vehicle: {description: saloon}
instruments:
  dmm: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 2 kHz}
stages:
  head: {kind: head_unit, rated_output: 2 V, volume: {steps: 38}, outputs: {line: {}}}
  factory: {kind: amplifier, from: head.line, power: 25 W @ 4 ohm, sensitivity: 0.3 .. 4 V}
  converter: {kind: converter, from: factory, input_limit: 12 V, ratio: -12 dB ± 0.5 dB}
  amp: {kind: amplifier, from: converter, power: 80 W @ 4 ohm, sensitivity: 0.2 .. 5 V}
  front: {kind: speaker, from: amp, impedance: 4 ohm, power: 90 W}
"""

CARS = {
    "amplifier_before": AMPLIFIER_BEFORE,
    "three_amplifiers": THREE_AMPLIFIERS,
    "at_the_amplifier": AT_THE_AMPLIFIER,
    "head_unit_alone": HEAD_UNIT_ALONE,
    "bands_summed": BANDS_SUMMED,
}
"""Name -> text of a job file."""
