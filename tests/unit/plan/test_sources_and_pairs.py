"""What plans make of digital sources, factory sources, supplies and strapped pairs."""

from __future__ import annotations

from example_plans import job, plan_of, steps

from gainwright.plan import make_plan


def test_still_clean_is_asked_at_a_level_that_the_boost_leaves_room_for() -> None:
    """A processor that boosts can't pass full scale from a digital source: no step asks whether it does, at any volume."""
    plan = plan_of("digital_player")
    found = {s.tone_hz: s.level_dbfs for s in steps(plan, "source") if s.tone_hz}
    assert min(level for level in found.values() if level is not None) < 0
    asked = {s.tone_hz: s.level_dbfs for s in steps(plan, "processor")}
    assert asked == found


def test_a_bass_boost_on_a_wire_is_off_for_the_set_up() -> None:
    """What it adds later is headroom that the music loses: the step says so and sets 0 dB."""
    step = next(s for s in plan_of("digital_player").steps if s.sets.get("amp_sub.remote_level"))
    assert float(step.sets["amp_sub.remote_level"].split()[0]) == 0.0
    assert "headroom" in step.why


def test_a_supply_without_a_spread_can_be_met() -> None:
    """No meter reads 13.8 V to the last digit: an exact figure of the job has a meter's doubt, a wider one of its own stays."""
    for running, half in (("13.8 V", 0.02 * 13.8), ("13.8 V ± 0.5 V", 0.5)):
        plan = make_plan(job("one_amplifier", a=f"running: 13.9 V ± 0.3 V => running: {running}"))
        expect = next(s for s in plan.steps if s.id == "prepare.supply").expect
        assert expect is not None
        assert expect.high - expect.value == expect.value - expect.low
        assert abs(expect.high - expect.value - half) < 1e-9


def test_the_ends_of_a_strapped_load_are_named_when_it_is_connected() -> None:
    """Its minus goes to the other amplifier's plus terminal; plus to plus alone would leave it to chance."""
    said = {
        name: next(s.do for s in plan_of(name).steps if s.id == "verify.speakers")
        for name in ("strapped_pair", "full_range")
    }
    assert "its minus to the plus terminal of amplifier b" in said["strapped_pair"]
    assert "minus" not in said["full_range"]


def test_noise_cancelling_wants_the_charger() -> None:
    """A radio that plays against the engine's noise is measured without it; volume levelling has a name in words."""
    do = {
        name: next(s.do for s in plan_of(name).steps if s.id == "power.running")
        for name in ("factory_equaliser", "full_range")
    }
    assert do["factory_equaliser"].startswith("Switch the charger on; without one")
    assert do["full_range"].startswith("Start the engine")
    levelled = make_plan(job("digital_player", a="levelling: off => levelling: on"))
    finding = next(f for f in levelled.findings if f.where == "player.levelling")
    assert finding.where_text.lower() == "the volume levelling of the player"
