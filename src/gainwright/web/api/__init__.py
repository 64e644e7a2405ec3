"""The HTTP API under /api, told by its OpenAPI document; the pages use it, too."""

from gainwright.web.api import bench, cases, jobs, papers, work

ROUTERS = (bench.router, cases.router, jobs.router, papers.router, work.router)
"""Routers of the whole API."""

__all__ = ["ROUTERS"]
