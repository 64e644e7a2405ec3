"""What lets a browser keep the app for use without a network: its manifest, its service worker, the page shown for what isn't kept."""

from __future__ import annotations

import json

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from gainwright.web.help_files import help_build
from gainwright.web.rendering import page
from gainwright.web.static_files import CHECKED, addresses, build, folder

router = APIRouter(include_in_schema=False)

MANIFEST = {
    "id": "/",
    "name": "Gainwright",
    "short_name": "Gainwright",
    "start_url": "/",
    "scope": "/",
    "display": "standalone",
    "background_color": "#fbfaf6",
    "theme_color": "#fbfaf6",
    "icons": [
        {"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml"},
        {"src": "/static/icon-192.png", "sizes": "192x192", "type": "image/png"},
        {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png"},
        {"src": "/static/icon-maskable-512.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
    ],
}
"""The web app manifest (W3C Web Application Manifest); the icons are drawn from `mark.svg`."""
ALWAYS_CHECKED = {"cache-control": CHECKED}


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """Return the manifest: with it a browser offers to install the app."""
    return JSONResponse(MANIFEST, headers=ALWAYS_CHECKED, media_type="application/manifest+json")


@router.get("/service-worker.js")
def service_worker() -> Response:
    """Return the service worker, with the names and the lists of the static files and of the help, which it keeps.

    It is served here, not under `/static/`, since a worker controls only what is below its own address.
    """
    script = (folder() / "service-worker.js").read_text(encoding="utf-8")
    help_name, help_files = help_build()
    constants = f"const BUILD = {json.dumps(build())};\nconst ASSETS = {json.dumps(addresses())};\n"
    constants += f"const HELP = {json.dumps({'build': help_name, 'files': help_files})};\n"
    return Response(constants + script, headers=ALWAYS_CHECKED, media_type="text/javascript")


@router.get("/offline")
def offline(request: Request) -> Response:
    """Show what is kept on the device, in place of a page that isn't."""
    return page(request, "offline.html")
