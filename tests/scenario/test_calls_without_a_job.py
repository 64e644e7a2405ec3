"""Twelve calls without a job, from the trade's practice: a caller who speaks plainly, misremembers and doesn't know.

The faults are the usual ones after an installation, a wash, a new battery or a season (common practice, no published
source); what is heard and seen with each is written down by hand, none of it computed by the model that is tested.
"""

from __future__ import annotations

import pytest
from callers import NOT_UNDERSTOOD, Answered, Call, answer_call, said_to

CALLS = (
    Call(
        "fuse of the sub's amplifier blown",
        "a 4-channel amp on the doors, a mono amp on a sub, factory radio",
        {"subwoofer": "there is no bass at all, nothing"},
        (("amplifier_no_supply", "sub_amplifier"),),
        hears={"subwoofer": "no sound from the sub"},
        sees={"sub_amplifier.power_lamp": "no, it's dark", "fuse": "it's blown, black inside"},
        unknown=("settings",),
    ),
    Call(
        "turn-on lead of the four-channel amplifier never connected",
        "four-channel amp on the doors, monoblock for the sub, radio with RCA outputs, just installed",
        {"front_speakers": "the doors don't play", "rear_speakers": "the doors don't play"},
        (("amplifier_no_turn_on", "four_channel_amplifier"),),
        hears={"front_speakers": "nothing", "rear_speakers": "nothing", "subwoofer": "yes, it plays"},
        sees={"four_channel_amplifier.power_lamp": "no light on it", "fuse": "looks good"},
        unknown=("low_pass", "high_pass"),
    ),
    Call(
        "bass knob turned down",
        "five-channel amp, aftermarket radio, there's a bass knob too",
        {"subwoofer": "hardly any bass"},
        (("level_control_down", "sub_amplifier"),),
        hears={"subwoofer": "very quiet"},
        sees={"remote_level": "oh, the knob is turned down", "gain": "I haven't touched it, it's fine"},
    ),
    Call(
        "leads of front and sub plugged into each other's outputs",
        "4-channel on the doors, mono on the sub, aftermarket radio with pre-outs",
        {"front_speakers": "the front doors are very quiet, only a thump"},
        (("outputs_crossed", "head_unit.front"), ("outputs_crossed", "head_unit.sub")),
        hears={"front_speakers": "hardly anything", "subwoofer": "plays, voices come out of it"},
        sees={
            "front_speakers.sounds": "dull, only a thump, no voices",
            "subwoofer.sounds": "voices come out of it",
            "head_unit.front.leads": "no, that one goes to the sub, they're crossed",
            "head_unit.sub.leads": "no, to the front",
        },
    ),
    Call(
        "fader turned to the front",
        "Werksradio, Mono-Endstufe für den Subwoofer, die Türen laufen am Radio",
        {"rear_speakers": "hinten kommt gar nichts"},
        (("fader_over", "factory_radio.rear"),),
        hears={"rear_speakers": "nichts", "front_speakers": "ja, die spielen", "subwoofer": "läuft wie immer"},
        sees={"balance": "nein, ganz nach vorn", "fader": "nein, ganz nach vorn", "settings": "keine Ahnung"},
    ),
    Call(
        "speaker lead broken in the hinge of the left front door",
        "4 channel amp on all doors, no sub, RCA from an aftermarket radio",
        {"front_speakers.left": "the left front door doesn't play"},
        (
            ("lead_open", "lead:front_amplifier.left-front_speakers.left"),
            ("lead_open", "lead:front_amplifier-front_speakers"),
        ),
        hears={
            "front_speakers": "the right one plays",
            "front_speakers.left": "nothing",
            "front_speakers.right": "plays",
        },
        sees={"swap": "still the left one", "balance": "yes, in the middle"},
        unknown=("inputs",),
    ),
    Call(
        "ground screw of the sub's amplifier loose",
        "mono amp on a sub, doors on the radio, aftermarket with line out",
        {"subwoofer": "it gets distorted and cuts out when it's loud"},
        (("supply_sagging", "sub_amplifier"), ("amplifier_no_supply", "sub_amplifier")),
        hears={"subwoofer": "distorted on the heavy beats", "subwoofer.softly": "when it's low it plays fine"},
        sees={
            "sub_amplifier.power_lamp": "it's green, flickers a bit",
            "ground": "the screw is loose",
            "gain": "about the middle, fine",
        },
    ),
    Call(
        "filter of the sub's amplifier switched to the wrong side",
        "4-channel amp, mono amp on a sub, radio with pre-outs",
        {"subwoofer": "very quiet, hardly any bass"},
        (("high_pass_in_the_way", "sub_amplifier"),),
        hears={"subwoofer": "really weak"},
        sees={
            "sub_amplifier.settings": "the filter switch is on the wrong side",
            "sub_amplifier.high_pass": "it's switched to high pass, wrong",
        },
        unknown=("head_unit.settings",),
    ),
    Call(
        "gain of the sub's channel at minimum after a reset",
        "Vierkanal-Endstufe, hinteres Paar gebrückt am Sub, Nachrüstradio mit Cinch",
        {"subwoofer": "kaum Bass, sehr leise"},
        (("gain_low", "sub_amplifier"), ("gain_muted", "sub_amplifier")),
        hears={"subwoofer": "sehr leise"},
        sees={"sub_amplifier.gain": "0 %", "sub_amplifier.settings": "alles normal, ich habe nichts angefasst"},
        unknown=("low_pass", "boost"),
    ),
    Call(
        "sub output of the radio switched off since the battery was changed",
        "four channel and mono amp, aftermarket radio with rca",
        {"subwoofer": "no bass since the battery was changed"},
        (("output_switched_off", "head_unit.sub"),),
        hears={"subwoofer": "nothing"},
        sees={"head_unit.settings": "fine, I changed nothing", "switch": "oh, it's switched off"},
    ),
    Call(
        "left front speaker blown",
        "4-channel amp on the doors, no sub, line out",
        {"front_speakers.left": "the left front crackles"},
        (("speaker_damaged", "front_speakers"),),
        hears={
            "front_speakers": "it crackles",
            "front_speakers.left": "scratchy",
            "front_speakers.right": "plays fine",
        },
        sees={"swap": "still the left one", "substitute": "with the other one it plays fine"},
    ),
    Call(
        "radio muted: nothing wrong",
        "nur das Radio, keine Endstufe",
        {"front_speakers": "nichts", "rear_speakers": "kein Ton"},
        (("source_muted", "factory_radio"),),
        hears={"front_speakers": "nichts", "rear_speakers": "nichts"},
        sees={"mute": "ja, das ist stumm geschaltet", "settings": "stimmt nicht, es ist stumm"},
    ),
)

MORE_CALLS = (
    Call(
        "equaliser of the player on: front and rear distort, softly both are clean",
        "nur das Radio, keine Endstufe",
        {"front_speakers": "klingt verzerrt", "rear_speakers": "verzerrt"},
        (("player_equaliser_on", "factory_radio"),),
        hears={
            "front_speakers": "verzerrt",
            "rear_speakers": "verzerrt",
            "front_speakers.softly": "leise ist es sauber",
            "rear_speakers.softly": "sauber",
        },
        sees={"player": "nein, der Equalizer ist falsch, der ist an", "other_source": "besser"},
    ),
    Call(
        "rear lead hardly plugged in at the radio",
        "4-channel amp on the doors, no sub, line out radio",
        {"rear_speakers": "nothing from the rear"},
        (("lead_open", "lead:head_unit.rear-rear_amplifier"), ("lead_loose", "lead:head_unit.rear-rear_amplifier")),
        hears={"rear_speakers": "nothing", "front_speakers": "yes they play"},
        sees={
            "leads": "yes they do",
            "moved": "it cuts out when I wiggle it",
            "one_side_reversed": "the same, nothing",
        },
    ),
    Call(
        "one front door wired the wrong way round",
        "four channel and mono amp, aftermarket radio with rca",
        {"front_speakers": "it sounds thin, no bass in the doors"},
        (("polarity_reversed", ""),),
        hears={"front_speakers": "quiet in the bass", "front_speakers.left": "fine", "front_speakers.right": "fine"},
        sees={"one_side_reversed": "fuller, more bass", "sounds": "thin, the bass is missing"},
    ),
)
"""Calls that once ended wrong, beside the twelve."""


@pytest.fixture(scope="module")
def answered() -> dict[str, Answered]:
    """Return every call, led to its end."""
    return {call.name: answer_call(call) for call in CALLS}


def test_right_cause_or_group_in_eleven_of_twelve(answered: dict[str, Answered]) -> None:
    """It leads at the end, alone or with what no test tells from it; none of the others is believed by more than 60 %."""
    assert len(CALLS) == 12
    missed = [name for name, call in answered.items() if not call.right]
    assert len(missed) <= 1, missed
    for name in missed:
        assert answered[name].share <= 0.6, name


@pytest.mark.parametrize("call", MORE_CALLS, ids=lambda call: call.name)
def test_calls_that_once_ended_wrong(call: Call) -> None:
    """What clips in the source, an open lead or a loose one, which is the same lead, and a part of the music that is missing."""
    assert answer_call(call).right


def test_crossed_leads_are_found_by_what_part_of_the_music_is_heard(answered: dict[str, Answered]) -> None:
    """Doors that are faint and dull, on the output of the subwoofer; faintness alone has many causes."""
    call = answered["leads of front and sub plugged into each other's outputs"]
    assert call.right
    assert "dull, only a thump, no voices" in [words for _, words in call.said]


def test_every_sentence_is_understood(answered: dict[str, Answered]) -> None:
    """Nothing that these callers say has to be said again in other words."""
    for call in answered.values():
        assert [(ask, words) for ask, words in call.said if NOT_UNDERSTOOD in words] == []


def test_nothing_is_asked_that_needs_a_meter_or_a_tone(answered: dict[str, Answered]) -> None:
    """Ears, eyes and hands are enough: these callers have nothing else."""
    asked = [ask for call in answered.values() for ask, _ in call.said]
    assert not [ask for ask in asked if "meter" in ask or "volts" in ask or "dBFS" in ask]


@pytest.mark.parametrize(("entry", "words"), [
    ({"heard": "subwoofer"}, "no sound from the sub"),
    ({"heard": "front_speakers"}, "plays fine"),
    ({"heard": "subwoofer", "tone": "off"}, "nothing, all quiet"),
    ({"check": "sub_amplifier.settings"}, "no idea, sorry"),
    ({"check": "sub_amplifier.power_lamp"}, "no, it's dark"),
    ({"check": "four_channel_amplifier.power_lamp"}, "it's green"),
    ({"swap": "front_amplifier"}, "I can't get at it"),
])  # fmt: skip
def test_caller_says_what_the_fault_makes_of_the_car(entry: dict[str, str], words: str) -> None:
    """By place, by what is looked at anywhere, and of everything else that it is as it should be."""
    assert said_to(CALLS[0], entry) == words
