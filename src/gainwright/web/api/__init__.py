"""The HTTP API under /api, told by its OpenAPI document; the pages use it, too."""

from gainwright.web.api import bench, cases, chain, jobs, live, music, papers, practices, recordings, set_up_run, work

ROUTERS = (
    bench.router,
    cases.router,
    chain.router,
    jobs.router,
    live.router,
    music.router,
    papers.router,
    practices.router,
    recordings.router,
    set_up_run.router,
    work.router,
)
"""Routers of the whole API."""

__all__ = ["ROUTERS"]
