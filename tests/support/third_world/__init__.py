"""A third world for fault finding: circuits of whole cars in ngspice, which share no formula with the solver or the rig.

A case is a job (shipped, kept in `chains`, or random), hidden numbers of its parts, a fault of a hidden amount, and a
caller. The circuit answers every test that a diagnosis may propose. Its assumptions differ on purpose from the product's:
loudspeakers with inductance and resonance, soft ceilings rated at 1 % THD, potentiometers without a buffer, tapered
volumes, supply leads that sag, amplifiers that protect themselves, an ohmmeter's own leads, people with thresholds of
their own.

`parts` are pieces of circuit, `lead_circuit`, `chain_circuit` and `power_circuit` write a chain's netlist, `spice` runs it,
`world` keeps what it gave; `car`, `cars_set_up` and `faults` draw what is hidden; `oracle`, `checking`, `trying` and `people` answer;
`cases` and `tables` run cases and count.
"""
