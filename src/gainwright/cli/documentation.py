"""The command that opens the documentation."""

from __future__ import annotations

from typing import Annotated

import typer

from gainwright.cli.base import Json, app, print_json, print_text, say


@app.command()
def docs(
    page: Annotated[
        str, typer.Argument(metavar="PAGE", help="A page, such as job-file or no-signal; the contents if left out.")
    ] = "index",
    where: Annotated[bool, typer.Option("--where", help="Print where the page is, and open nothing.")] = False,
    as_json: Json = False,
) -> None:
    """Open the documentation in the browser; it is on this machine and needs no network."""
    from gainwright.adapters.docs_site import site_page

    path = site_page(page)
    if as_json:
        print_json({"page": str(path)})
    elif where:
        print_text(str(path))
    else:
        import webbrowser

        if not webbrowser.open(path.as_uri()):
            say("no browser could be opened; open this file in one")
        print_text(str(path))
