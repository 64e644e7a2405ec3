"""The content security policy of pages, and that of papers shown in a frame."""

from __future__ import annotations

import base64
import hashlib

DIRECTIVES = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "media-src": "'self' blob:",
    "connect-src": "'self'",
    "worker-src": "'self'",
    "manifest-src": "'self'",
    "form-action": "'self'",
    "frame-src": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
"""Of every page: nothing inline, nothing from other sites."""


def policy(**changed: str) -> str:
    """Return the policy with some directives changed (`style_src` for `style-src`)."""
    directives = {**DIRECTIVES, **{name.replace("_", "-"): value for name, value in changed.items()}}
    return "; ".join(f"{name} {value}" for name, value in directives.items())


def frame_policy() -> str:
    """Return the policy of a paper in a frame: only its own style sheet, allowed by its digest."""
    from gainwright.report.paper_content import STYLE

    digest = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    return policy(
        script_src="'none'",
        style_src=f"'sha256-{digest}'",
        connect_src="'none'",
        form_action="'none'",
        frame_ancestors="'self'",
    )
