"""The pages: each module one part of the work; a form is done, then the browser is sent to what it shows."""

from gainwright.web.pages import (
    bench,
    cases,
    chain,
    chain_edits,
    chain_text,
    corridor,
    fault,
    jobs,
    live,
    music,
    pairing,
    papers,
    practise,
    set_up_run,
)

ROUTERS = (
    bench.router,
    cases.router,
    chain.router,
    chain_edits.router,
    chain_text.router,
    corridor.router,
    fault.router,
    jobs.router,
    live.router,
    music.router,
    pairing.router,
    papers.router,
    practise.router,
    set_up_run.router,
)
"""Routers of all pages."""

__all__ = ["ROUTERS"]
