"""Commands about meter readings and attenuators."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from gainwright.cli.base import JobPath, Json, app, print_json, print_text, read_column, say, write_chart


@app.command()
def knee(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Readings, columns step,v_rms; without a file you type them."),
    ] = None,
    limit: Annotated[float, typer.Option(metavar="PERCENT", help="THD up to which a tone is clean.")] = 1.0,
    meter: Annotated[
        str, typer.Option(help="How the meter responds: true-rms, average or unknown (both are weighed).")
    ] = "",
    accuracy: Annotated[float, typer.Option(metavar="PERCENT", help="The meter's accuracy, of the reading.")] = 1.0,
    tone: Annotated[
        float | None, typer.Option(metavar="HZ", help="The tone played, for a caution about the meter's bandwidth.")
    ] = None,
    lower: Annotated[
        Path | None, typer.Option(help="Readings of the same steps with the tone lower: they show the control alone.")
    ] = None,
    lower_by: Annotated[float, typer.Option(metavar="DB", help="How much lower the tone was.")] = 10.0,
    chart: Annotated[Path | None, typer.Option(help="Draw the readings to this .svg or .png file.")] = None,
    as_json: Json = False,
) -> None:
    """Find where clipping begins from meter readings step by step."""
    from gainwright.app.measuring.knee import knee_of, meter_kind
    from gainwright.cli.knee_dialogue import run_knee_dialogue
    from gainwright.quantities import check_bounds

    check_bounds(("tone", tone, 1.0, 1e5, "Hz"))
    kind = meter_kind(meter=meter or "unknown", accuracy_percent=accuracy)
    second = read_column(lower) if lower is not None else []
    if file is None:
        found, readings = run_knee_dialogue(sys.stdin, say, kind=kind, limit_percent=limit, ask_meter=not meter)
    else:
        readings = read_column(file)
        found = knee_of(readings, kind=kind, limit_percent=limit, lower=second, lower_db=lower_by, where=str(file))
        if not meter:
            say("Both kinds of meter are weighed; say --meter true-rms or --meter average if you know which yours is.")
    from gainwright.report.knee import knee_chart, knee_text, meter_caution

    if chart is not None:
        write_chart(knee_chart(found, readings, title="The knee"), chart)
    if as_json:
        print_json(found)
        return
    print_text(knee_text(found, [*readings, *second], limit_percent=limit))
    if tone is not None and meter_caution(tone):
        print_text(meter_caution(tone))


@app.command()
def attenuator(
    job: JobPath,
    recorder: Annotated[str, typer.Option(help="The recorder, if the job has several.")] = "",
    series: Annotated[int, typer.Option(help="Series of preferred values: 6, 12, 24, 48, 96 or 192.")] = 24,
    tolerance: Annotated[float, typer.Option(metavar="PERCENT", help="Of the resistors.")] = 1.0,
    as_json: Json = False,
) -> None:
    """Design the attenuator between each amplifier and a recorder."""
    from gainwright.jobfile import read_job
    from gainwright.plan import design_attenuators

    found = design_attenuators(read_job(job).job, recorder=recorder, series=series, tolerance=tolerance / 100)
    if as_json:
        print_json({"attenuators": found})
    else:
        from gainwright.report.attenuator import attenuator_text

        print_text(attenuator_text(found))
