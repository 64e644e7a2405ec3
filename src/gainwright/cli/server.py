"""The command that serves the web app."""

from __future__ import annotations

from typing import Annotated

import typer

from gainwright.cli.base import app, say


@app.command()
def serve(
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port; if it is in use another one is taken; 0 for any.")
    ] = 8470,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    lan: Annotated[
        bool, typer.Option("--lan", help="Give paired devices of the local network access, over TLS.")
    ] = False,
    address: Annotated[str, typer.Option(metavar="ADDR", help="With --lan: listen at this address only.")] = "",
    certificate: Annotated[str, typer.Option(metavar="FILE", help="With --lan: your own TLS certificate, PEM.")] = "",
    key: Annotated[str, typer.Option(metavar="FILE", help="Its key, PEM.")] = "",
    store: Annotated[
        str,
        typer.Option(metavar="PLACE", envvar="GAINWRIGHT_STORE", help="The store: a file, or a PostgreSQL address."),
    ] = "",
    music: Annotated[
        list[str] | None, typer.Option(metavar="DIR", help="A folder of music that may be scanned; may be repeated.")
    ] = None,
) -> None:
    """Serve the web app on this machine, for its own browser; with --lan also for phones at the car."""
    from gainwright.web.serving import Options
    from gainwright.web.serving import serve as run

    options = Options(port, browser, lan, address, certificate, key, store, tuple(music or ()))
    run(options, say)
