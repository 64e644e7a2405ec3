"""The command that serves the web app."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from gainwright.cli.base import app, print_text, say

USUAL_PORT = 8470


@app.command()
def serve(
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port; if it is in use another one is taken; 0 for any.")
    ] = USUAL_PORT,
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
    install_launcher: Annotated[
        bool,
        typer.Option(
            "--install-launcher", help="Put it into the menu of the desktop, with the other options, and end."
        ),
    ] = False,
    remove_launcher: Annotated[
        bool, typer.Option("--remove-launcher", help="Take it out of the menu again, and end.")
    ] = False,
) -> None:
    """Serve the web app on this machine, for its own browser; with --lan also for phones at the car."""
    if install_launcher or remove_launcher:
        options_kept = [
            *(["--port", str(port)] if port != USUAL_PORT else []),
            *([] if browser else ["--no-browser"]),
            *(["--lan"] if lan else []),
            *(["--address", address] if address else []),
            *_files("--certificate", certificate),
            *_files("--key", key),
            *_files("--store", store),
            *_files("--music", *(music or ())),
        ]
        _change_launcher(options_kept, remove=remove_launcher)
        return
    from gainwright.web.serving import Options
    from gainwright.web.serving import serve as run

    options = Options(port, browser, lan, address, certificate, key, store, tuple(music or ()))
    run(options, say)


def _files(option: str, *named: str) -> list[str]:
    """Return an option with files named from any folder; a database keeps its address, which may hold no password."""
    from gainwright.errors import CallError

    found = []
    for name in named:
        if re.search(r"//[^/@]*:[^/@]*@", name):
            raise CallError(
                "its address holds a password, which others could read in the menu",
                code="bad_call",
                where=option,
                remedy="put it into ~/.pgpass",
            )
        if name:
            found += [option, name if "://" in name else str(Path(name).expanduser().absolute())]
    return found


def _change_launcher(options: list[str], *, remove: bool) -> None:
    """Install or remove the launcher, and say what was written or removed."""
    from gainwright.adapters import launchers

    launcher = launchers.own_launcher(["serve", *options])
    if remove:
        done = launchers.remove(launcher)
        print_text("\n".join(f"removed: {path}" for path in done) or "there is no launcher")
        return
    done = launchers.install(launcher)
    print_text("\n".join(f"written: {path}" for path in done))
