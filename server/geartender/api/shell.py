"""What makes the page one that can be installed: its manifest (W3C Web Application Manifest), and the worker that keeps its shell.

Every address in either is relative to it, so both work under a path of a reverse proxy.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from jinja2 import Environment

PAPER = "#f3f0e6"
"""The ground of the page in light, as in `tokens.css`."""

ICON = "picture/icon.svg"


def manifest(static: str) -> bytes:
    """The manifest of the page whose static files lie under that path."""
    icons = [
        {"src": f"{static}/{ICON}", "sizes": "any", "type": "image/svg+xml"},
        *(
            {"src": f"{static}/picture/icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png"}
            for size in (192, 512)
        ),
    ]
    return json.dumps(
        {
            "name": "Geartender",
            "short_name": "Geartender",
            "description": "Drives the servos of one machine.",
            "start_url": "drive",
            "scope": "./",
            "display": "standalone",
            "background_color": PAPER,
            "theme_color": PAPER,
            "icons": icons,
        }
    ).encode()


def worker(templates: Environment, static: str, version: str, files: Sequence[str], views: Sequence[str]) -> bytes:
    """The worker that keeps the page in the browser, with those of its static files."""
    kept = [f"{static}/{name}" for name in (*files, ICON)]
    return templates.get_template("worker.js").render(version=version, views=("", *views), files=kept).encode()
