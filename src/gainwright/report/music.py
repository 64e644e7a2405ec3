"""What music allows, in words, as blocks of a paper and as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from gainwright.report.paper import Block, Figure, Paragraph, Table
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.programme import BandAllowance, Limits
    from gainwright.programme.library import MusicResult

SINE_CREST_DB = 3.0
_NAMED = {"full": "the whole programme", "sub": "under 80 Hz", "high": "over 80 Hz"}
"""What the bands are that are looked at without a job."""


def length_words(seconds: float) -> str:
    """Return a play time in hours and minutes, or minutes and seconds."""
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return say("{minutes} min {seconds} s", minutes=minutes, seconds=rest)
    return say("{hours} h {minutes} min", hours=minutes // 60, minutes=minutes % 60)


def choice_words(found: BandAllowance, limits: Limits) -> str:
    """Return in a sentence what is recommended for a band, what stands against more, and which tracks do."""
    choice, drive = found.choice, found.drive
    tracks = joined([PurePath(track).name for track in choice.tracks])
    steps = [row.db for row in found.rows]
    more = next((db for db in steps if db > choice.db), choice.db) if choice.kept else choice.db
    head = say("{band}: {db} dB.", band=found.band, db=f"{choice.db:g}")
    if choice.decided_by == "range":
        return say("{head} More isn't looked at; the limits would allow it.", head=head)
    if choice.decided_by == "clipped_time":
        why = say(
            "With {more} dB it would be clipped for more than {limit} % of the time, most of it in {tracks}.",
            more=f"{more:g}",
            limit=f"{limits.clipped_time_percent:g}",
            tracks=tracks,
        )
    elif choice.decided_by == "distortion":
        why = say(
            "With {more} dB the clipping products would be less than {limit} dB under the programme, most of them in {tracks}.",
            more=f"{more:g}",
            limit=f"{-limits.distortion_power_db:g}",
            tracks=tracks,
        )
    else:
        why = say(
            "With {more} dB the mean power into {speaker} would be over its rating, most in {tracks}.",
            more=f"{more:g}",
            speaker="" if drive is None else drive.speaker,
            tracks=tracks,
        )
    if not choice.kept:
        head = say("{band}: no allowance keeps the limits.", band=found.band)
    return say("{head} {why}", head=head, why=why)


def crest_words(found: BandAllowance, tone_hz: float | None) -> str:
    """Return in a sentence why a tone doesn't reach a ceiling as this band of the music does; empty for silence."""
    row = found.row(found.choice.db)
    if found.crest_db is None or row.mean_power_db is None:
        return ""
    tone = say("a tone") if tone_hz is None else say("a tone of {hz} Hz", hz=f"{tone_hz:g}")
    return say(
        "{band}: the highest peak of this music stands {crest} dB over its rms, that of {tone} only {sine} dB. A tone that just "
        "reaches the ceiling stays there and has its full power; this music, set by a tone {db} dB below full scale, is over "
        "the ceiling for {percent} % of the time and has {less} dB less power.",
        band=found.band,
        crest=f"{found.crest_db:.1f}",
        tone=tone,
        sine=f"{SINE_CREST_DB:.1f}",
        db=f"{row.db:g}",
        percent=f"{row.clipped_time_percent:.2g}",
        less=f"{-row.mean_power_db:.1f}",
    )


def _power(found: BandAllowance, which: str) -> str:
    row = found.row(found.choice.db)
    watts = getattr(row, f"{which}_power_w")
    if watts is not None:
        return f"{watts:.3g} W"
    level = getattr(row, f"{which}_power_db")
    return "" if level is None else f"{round(level, 1) or 0.0:.1f} dB"


def music_table(found: MusicResult) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return columns and rows, one a band; a column that says nothing is empty in all rows."""
    columns = (
        say("Band"), say("Crest"), say("Peak"), say("Now"), say("Recommended"), say("Clipped time"),
        say("Clipping products"), say("Mean power"), say("Worst second"), say("Rating"), say("Gained"),
    )  # fmt: skip
    rows = list[tuple[str, ...]]()
    for a in found.bands:
        row, now = a.row(a.choice.db), found.choice[a.band].now_db
        rated = None if a.drive is None else a.drive.rating_w
        rows.append(
            (
                a.band,
                "" if a.crest_db is None else f"{a.crest_db:.1f} dB",
                "" if a.peak_dbfs is None else f"{a.peak_dbfs:.1f} dBFS",
                "" if now is None else f"{now:g} dB",
                f"{a.choice.db:g} dB",
                f"{row.clipped_time_percent:.3f} %",
                "" if row.distortion_power_db is None else f"{row.distortion_power_db:.1f} dB",
                _power(a, "mean"),
                _power(a, "worst_1s"),
                "" if rated is None else f"{rated:.3g} W",
                f"{row.gained_db:.1f} dB",
            )
        )
    return columns, rows


def music_text(found: MusicResult) -> str:
    """Return what is recommended, why, and what was skipped."""
    count = len(found.skipped)
    left_out = f", {count} file{'s' if count != 1 else ''} skipped" if count else ""
    lines = [
        f"{len(found.tracks)} track{'s' if len(found.tracks) != 1 else ''}, {length_words(found.seconds)}{left_out}",
        "",
    ]
    columns, rows = music_table(found)
    shown = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    width = {i: max(len(columns[i]), *(len(row[i]) for row in rows)) for i in shown}
    lines += [
        "  ".join(line[i].ljust(width[i]) if i == 0 else line[i].rjust(width[i]) for i in shown).rstrip()
        for line in (columns, *rows)
    ]
    if all(a.drive is None for a in found.bands):
        lines.append("Powers are re a sine that just reaches the ceiling; for a job they are watts.")
        named = [f"{a.band} is {_NAMED[a.band]}" for a in found.bands if a.band in _NAMED]
        lines += [f"Bands: {', '.join(named)}."] if named else []
    lines += ["", *(choice_words(a, found.limits) for a in found.bands), ""]
    lines += [crest_words(a, found.choice[a.band].tone_hz) for a in found.bands]
    lines += ["", *(f"skipped: {s.file}: {s.why}" for s in found.skipped)] if found.skipped else []
    return "\n".join(lines).rstrip()


def music_blocks(found: MusicResult) -> list[Block]:
    """Return the part of a paper that says what the customer's music allows."""
    columns, rows = music_table(found)
    shown = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    table = Table(
        tuple(columns[i] for i in shown),
        tuple(tuple(row[i] for i in shown) for row in rows),
        right=tuple(range(1, len(shown))),
    )
    chart = music_chart(found, title=say("What this music allows"))
    head = say("Found from {tracks} tracks, {length}.", tracks=len(found.tracks), length=length_words(found.seconds))
    texts = [choice_words(a, found.limits) for a in found.bands]
    texts += [t for a in found.bands if (t := crest_words(a, found.choice[a.band].tone_hz))]
    return [Paragraph(head), table, *(Paragraph(t) for t in texts), Figure(chart, chart.description)]


@dataclass(frozen=True, slots=True)
class MusicChart:
    """How much of the time each band is over a level, with its ceiling; and how long each allowance clips it.

    `levels`: band, level re digital full scale, percentage of time; `clipped`: band, allowance, percentage;
    `choices`: band and its recommended allowance, whose ceiling lies as far under full scale.
    """

    title: str
    subtitle: str
    levels: tuple[tuple[str, float, float], ...]
    clipped: tuple[tuple[str, float, float], ...]
    choices: tuple[tuple[str, float], ...]
    limit_percent: float
    description: str


def music_chart(found: MusicResult, *, title: str) -> MusicChart:
    """Return the chart of what music allows."""
    levels = tuple((band, p.peak_dbfs, p.time_percent) for band, points in found.distribution.items() for p in points)
    clipped = tuple((a.band, row.db, row.clipped_time_percent) for a in found.bands for row in a.rows)
    choices = tuple((a.band, a.choice.db) for a in found.bands)
    said = joined([say("{band}: {db} dB", band=band, db=f"{db:g}") for band, db in choices], by="{a}; {b}")
    under = say("Upright lines are the ceilings that are recommended: {words}", words=said)
    return MusicChart(
        title, under, levels, clipped, choices, found.limits.clipped_time_percent,
        say("{place}: {words}", place=title, words=said),
    )  # fmt: skip
