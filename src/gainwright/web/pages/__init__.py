"""The pages: each module one part of the work; a form is done, then the browser is sent to what it shows."""

from gainwright.web.pages import cases, fault, jobs, papers

ROUTERS = (cases.router, fault.router, jobs.router, papers.router)
"""Routers of all pages."""

__all__ = ["ROUTERS"]
