"""The allowance for music, as text and as blocks of a paper."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from gainwright.model import name_words
from gainwright.report.music_chart import music_chart
from gainwright.report.music_speakers import speaker_notes, speaker_table
from gainwright.report.paper import Block, Figure, Paragraph, Table
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.programme import BandAllowance, Limits
    from gainwright.programme.music_result import MusicResult

SINE_CREST_DB = 3.0
_NAMED = {"full": "the whole programme", "sub": "under 80 Hz", "high": "over 80 Hz"}
"""The bands that are analysed without a job."""


def duration_text(seconds: float) -> str:
    """Return a playing time in hours and minutes, or minutes and seconds."""
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return say("{minutes} min {seconds} s", minutes=minutes, seconds=rest)
    return say("{hours} h {minutes} min", hours=minutes // 60, minutes=minutes % 60)


def choice_text(allowance: BandAllowance, limits: Limits) -> str:
    """Return a sentence: the recommended allowance of a band, what limits it, and which tracks do."""
    choice, drive = allowance.choice, allowance.drive
    tracks = joined([PurePath(track).name for track in choice.tracks])
    steps = [row.db for row in allowance.rows]
    more = next((db for db in steps if db > choice.db), choice.db) if choice.kept else choice.db
    head = say("{band}: {db} dB.", band=name_words(allowance.band), db=f"{choice.db:g}")
    if choice.decided_by == "range":
        return say("{head} Larger allowances weren't evaluated; the limits would permit more.", head=head)
    if choice.decided_by == "clipped_time":
        why = say(
            "With {more} dB it would be clipped more than {limit} % of the time, mostly in {tracks}.",
            more=f"{more:g}",
            limit=f"{limits.clipped_time_percent:g}",
            tracks=tracks,
        )
    elif choice.decided_by == "distortion":
        why = say(
            "With {more} dB the clipping products would be less than {limit} dB below the programme, mostly in {tracks}.",
            more=f"{more:g}",
            limit=f"{-limits.distortion_power_db:g}",
            tracks=tracks,
        )
    elif choice.decided_by == "coil_heat":
        why = say(
            "With {more} dB the coil of {speaker} might get hotter than it can bear, mostly in {tracks}.",
            more=f"{more:g}",
            speaker=name_words(choice.speaker),
            tracks=tracks,
        )
    elif choice.decided_by == "cone_travel":
        why = say(
            "With {more} dB the cone of {speaker} is expected to travel beyond its linear range, mostly in {tracks}.",
            more=f"{more:g}",
            speaker=name_words(choice.speaker),
            tracks=tracks,
        )
    else:
        why = say(
            "With {more} dB the mean power into {speaker} would exceed its rating, mostly in {tracks}.",
            more=f"{more:g}",
            speaker="" if drive is None else name_words(drive.speaker),
            tracks=tracks,
        )
    if not choice.kept:
        head = say("{band}: no allowance stays within the limits.", band=name_words(allowance.band))
    said = say("{head} {why}", head=head, why=why)
    if choice.decided_by in ("clipped_time", "distortion") or choice.clipping_db is None:
        return said
    return say("{said} Clipping alone would allow {db} dB.", said=said, db=f"{choice.clipping_db:g}")


def crest_text(allowance: BandAllowance, tone_hz: float | None) -> str:
    """Return a sentence on how a tone and this band of the music differ at the ceiling; empty for silence."""
    row = allowance.row(allowance.choice.db)
    if allowance.crest_db is None or row.mean_power_db is None:
        return ""
    tone = say("a tone") if tone_hz is None else say("its set-up tone of {hz} Hz", hz=f"{tone_hz:g}")
    return say(
        "{band}: the highest peak of this music is {crest} dB above its rms level, that of {tone} only {sine} dB. A tone that "
        "just reaches the ceiling stays there at full power; this music, with the gain set by a tone {db} dB below full "
        "scale, is above the ceiling {percent} % of the time and has {less} dB less power.",
        band=name_words(allowance.band),
        crest=f"{allowance.crest_db:.1f}",
        tone=tone,
        sine=f"{SINE_CREST_DB:.1f}",
        db=f"{row.db:g}",
        percent=f"{row.clipped_time_percent:.2g}",
        less=f"{-row.mean_power_db:.1f}",
    )


def _power(allowance: BandAllowance, which: str) -> str:
    row = allowance.row(allowance.choice.db)
    watts = getattr(row, f"{which}_power_w")
    if watts is not None:
        return f"{watts:.3g} W"
    level = getattr(row, f"{which}_power_db")
    return "" if level is None else f"{round(level, 1) or 0.0:.1f} dB"


def music_table(result: MusicResult) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return columns and rows, one row per band; a column that doesn't apply is empty in all rows."""
    columns = (
        say("Band"), say("Crest"), say("Peak"), say("Now"), say("Recommended"), say("Clipped time"),
        say("Clipping products"), say("Mean power"), say("Worst second"), say("Rating"), say("Gained"),
    )  # fmt: skip
    rows = list[tuple[str, ...]]()
    for a in result.bands:
        row, now = a.row(a.choice.db), result.choice[a.band].now_db
        rated = None if a.drive is None else a.drive.rating_w
        rows.append(
            (
                name_words(a.band),
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


def music_text(result: MusicResult) -> str:
    """Return the recommended allowances, the reasons, and the skipped files, as text."""
    count = len(result.skipped)
    left_out = f", {count} file{'s' if count != 1 else ''} skipped" if count else ""
    lines = [
        f"{len(result.tracks)} track{'s' if len(result.tracks) != 1 else ''}, {duration_text(result.seconds)}{left_out}",
        "",
    ]
    columns, rows = music_table(result)
    shown = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    width = {i: max(len(columns[i]), *(len(row[i]) for row in rows)) for i in shown}
    lines += [
        "  ".join(line[i].ljust(width[i]) if i == 0 else line[i].rjust(width[i]) for i in shown).rstrip()
        for line in (columns, *rows)
    ]
    if all(a.drive is None for a in result.bands):
        lines.append("Powers are relative to a sine that just reaches the ceiling; with a job they are in watts.")
        named = [f"{a.band} is {_NAMED[a.band]}" for a in result.bands if a.band in _NAMED]
        lines += [f"Bands: {', '.join(named)}."] if named else []
    lines += ["", *(choice_text(a, result.limits) for a in result.bands), ""]
    lines += [crest_text(a, result.choice[a.band].tone_hz) for a in result.bands]
    lines += _speaker_lines(result)
    lines += ["", *(f"skipped: {s.file}: {s.why}" for s in result.skipped)] if result.skipped else []
    return "\n".join(lines).rstrip()


def _speaker_lines(result: MusicResult) -> list[str]:
    """Return coils and cones as lines of text, nothing without a job."""
    columns, rows = speaker_table(result)
    if not rows:
        return []
    width = [max(len(columns[i]), *(len(row[i]) for row in rows)) for i in range(len(columns))]
    table = [
        "  ".join(t.ljust(w) if i == 0 else t.rjust(w) for i, (t, w) in enumerate(zip(line, width, strict=True)))
        for line in (columns, *rows)
    ]
    return ["", *(line.rstrip() for line in table), *speaker_notes(result)]


def music_blocks(result: MusicResult) -> list[Block]:
    """Return the part of a paper on the allowance for the customer's music."""
    columns, rows = music_table(result)
    shown = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    table = Table(
        tuple(columns[i] for i in shown),
        tuple(tuple(row[i] for i in shown) for row in rows),
        right=tuple(range(1, len(shown))),
    )
    chart = music_chart(result, title=say("What this music allows"))
    head = say("From {tracks} tracks, {length}.", tracks=len(result.tracks), length=duration_text(result.seconds))
    texts = [choice_text(a, result.limits) for a in result.bands]
    texts += [t for a in result.bands if (t := crest_text(a, result.choice[a.band].tone_hz))]
    blocks: list[Block] = [Paragraph(head), table, *(Paragraph(t) for t in texts), Figure(chart, chart.description)]
    columns, speakers = speaker_table(result)
    if speakers:
        blocks.append(Table(columns, tuple(speakers), right=tuple(range(1, len(columns)))))
    return [*blocks, *(Paragraph(t) for t in speaker_notes(result))]
