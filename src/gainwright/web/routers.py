"""The routers of the app: the HTTP API under /api, and the pages."""

from gainwright.web import offline, page_language, work_api
from gainwright.web.cases import api as cases_api
from gainwright.web.cases import call_pages, fault_pages
from gainwright.web.cases import pages as cases_pages
from gainwright.web.jobs import (
    api as jobs_api,
)
from gainwright.web.jobs import (
    chain_api,
    chain_edit_pages,
    chain_pages,
    chain_text_pages,
    corridor_pages,
    power_api,
    power_pages,
    start_pages,
)
from gainwright.web.jobs import (
    pages as jobs_pages,
)
from gainwright.web.measuring import live_api, recordings_api
from gainwright.web.measuring import pages as live_pages
from gainwright.web.music import api as music_api
from gainwright.web.music import pages as music_pages
from gainwright.web.papers import api as papers_api
from gainwright.web.papers import pages as papers_pages
from gainwright.web.practice import api as practice_api
from gainwright.web.practice import class_api, class_pages
from gainwright.web.practice import pages as practice_pages
from gainwright.web.set_up import api as set_up_api
from gainwright.web.set_up import notes_api, notes_pages, takeover_api, takeover_pages
from gainwright.web.set_up import pages as set_up_pages
from gainwright.web.system import api as bench_api
from gainwright.web.system import open_pages, pairing_pages
from gainwright.web.system import pages as bench_pages

API = tuple(
    module.router
    for module in (
        bench_api,
        cases_api,
        chain_api,
        class_api,
        jobs_api,
        live_api,
        music_api,
        notes_api,
        papers_api,
        power_api,
        practice_api,
        recordings_api,
        set_up_api,
        takeover_api,
        work_api,
    )
)
"""The API, described by its OpenAPI document."""

PAGES = tuple(
    module.router
    for module in (
        bench_pages,
        call_pages,  # before the pages of a case: /cases/new isn't one
        cases_pages,
        start_pages,  # before the pages of a job: /jobs/start isn't one
        chain_pages,
        chain_edit_pages,
        chain_text_pages,
        corridor_pages,
        fault_pages,
        jobs_pages,
        live_pages,
        music_pages,
        notes_pages,
        offline,
        open_pages,
        page_language,
        pairing_pages,
        papers_pages,
        power_pages,
        class_pages,
        practice_pages,
        set_up_pages,
        takeover_pages,
    )
)
"""The pages: after a form is processed, the browser is redirected to the page with the result."""
