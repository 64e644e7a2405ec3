"""The command about what tone and music do to cables, fuses, battery and speakers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gainwright.cli.base import JobPath, Json, app, print_json, print_text, write_chart


@app.command()
def power(
    job: JobPath,
    music: Annotated[
        Path | None,
        typer.Option(help="The .json written by gainwright music --job, instead of a stated share of full power."),
    ] = None,
    chart: Annotated[Path | None, typer.Option(help="Draw the supply to this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Show power and heat: cables, fuses and battery, coils and cones under the music."""
    from gainwright.jobfile import read_job

    read = read_job(job).job
    found = None
    if music is not None:
        from gainwright.cli.papers import read_music_file

        found = read_music_file(music)
    from gainwright.power import evaluate_power

    result = evaluate_power(read, found)
    if chart is not None:
        from gainwright.report.supply_drawing import supply_drawing

        write_chart(supply_drawing(result, read), chart)
    if as_json:
        print_json(result)
        return
    from gainwright.report.power import power_text

    print_text(power_text(result, read))
    if chart is not None:
        print_text(f"\ndrawn: {chart}")
