"""What the music does to coils and cones at the recommended allowances, as a table with what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import name_words
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.programme.music_result import MusicResult, SpeakerFigures

NONE = "–"


def speaker_columns() -> tuple[str, ...]:
    """Return the columns of the table of speakers."""
    return (
        say("Speaker"), say("Worst second"), say("Worst 100 ms"), say("Heat, of the limit"), say("The coil allows"),
        say("Travel"), say("Travel at most"), say("Linear to"), say("The cone allows"),
    )  # fmt: skip


def speaker_rows(result: MusicResult) -> list[tuple[str, ...]]:
    """Return one row for each speaker, for one of its units, at the recommended allowance of its band."""
    return [_row(s) for s in result.speakers]


def _row(s: SpeakerFigures) -> tuple[str, ...]:
    return (
        name_words(s.speaker),
        f"{s.worst_1s_w:.3g} W",
        f"{s.worst_100ms_w:.3g} W",
        NONE
        if s.coil_percent is None
        else say(
            "{share} % ({low} to {high})",
            share=f"{s.coil_percent:.0f}",
            low=f"{s.coil_percent_low or 0.0:.0f}",
            high=f"{s.coil_percent_high or 0.0:.0f}",
        ),
        NONE if s.coil_percent is None else _allows(s.coil_allows_db),
        NONE
        if s.travel_mm is None
        else say(
            "{mm} mm ({low} to {high})",
            mm=f"{s.travel_mm:.1f}",
            low=f"{s.travel_mm_low or 0.0:.1f}",
            high=f"{s.travel_mm_high or 0.0:.1f}",
        ),
        NONE
        if s.travel_bound_mm is None
        else say("{mm} mm at {hz} Hz", mm=f"{s.travel_bound_mm:.1f}", hz=f"{s.bound_hz or 0.0:.0f}"),
        NONE if s.xmax_mm is None else f"{s.xmax_mm:g} mm",
        NONE if s.travel_mm is None or s.xmax_mm is None else _allows(s.travel_allows_db),
    )


def _allows(db: float | None) -> str:
    return say("nothing") if db is None else f"{db:g} dB"


def speaker_table(result: MusicResult) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return columns and rows without the columns that nothing is known for; no rows without a job."""
    columns, rows = speaker_columns(), speaker_rows(result)
    shown = [i for i in range(len(columns)) if any(row[i] != NONE for row in rows)]
    return tuple(columns[i] for i in shown), [tuple(row[i] for i in shown) for row in rows]


def speaker_notes(result: MusicResult) -> list[str]:
    """Return what the figures of the speakers rest on, and of which something is unknown."""
    found = []
    if any(s.coil_percent is not None for s in result.speakers):
        found.append(
            say(
                "Heat of the coil: on the track that heats it most, played again and again, its loudest stretches in the worst order. "
                "Of a coil only the rating is known: the interval in brackets comes from wide assumptions on how it loses its heat (no published source)."
            )
        )
    if any(s.travel_mm is not None for s in result.speakers):
        found.append(
            say(
                "Travel: an estimate from the worst second and the worst 100 ms. At most: a steady tone at the music's highest peak, where it moves the cone most."
            )
        )
    unrated = [name_words(s.speaker) for s in result.speakers if s.coil_percent is None]
    if unrated:
        found.append(say("Heat can't be computed for {names}: the job gives no rating.", names=joined(unrated)))
    unknown = [s for s in result.speakers if s.missing]
    if unknown:
        keys = dict.fromkeys(key for s in unknown for key in s.missing)
        found.append(
            say(
                "Travel can't be judged for {names}: the job lacks {keys}, which are on a data sheet.",
                names=joined([name_words(s.speaker) for s in unknown]),
                keys=", ".join(keys),
            )
        )
    return found
