"""The HTTP API under /api, told by its OpenAPI document; the pages use it, too."""

from gainwright.web.api import bench, cases, chain, jobs, live, papers, practices, recordings, work

ROUTERS = (
    bench.router,
    cases.router,
    chain.router,
    jobs.router,
    live.router,
    papers.router,
    practices.router,
    recordings.router,
    work.router,
)
"""Routers of the whole API."""

__all__ = ["ROUTERS"]
