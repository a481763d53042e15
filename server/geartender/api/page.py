"""The page: one HTML document per view, and the static files it is made of.

``page_router(templates_dir, static_dir, version)`` gives the router to include at the application's root.
Every address in the documents is relative, so a reverse proxy may put the service under a path of its own.
"""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter, Request, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from geartender.access.roles import open_to_anybody
from geartender.api.shell import manifest, worker

VIEWS = ("drive", "sequences", "build", "bench", "journal", "settings")

# The address of a static file names its content, so a browser may keep it for a year and never ask again.
FOR_A_YEAR = {"Cache-Control": "public, max-age=31536000, immutable"}
CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
SERVED = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png"}
PACKED_ALREADY = {"image/png"}
STYLE = "page.css"
FETCHED_WHEN_OPENED = ("bench", "build", "journal", "pairing", "sequences", "settings")
"""Views whose scripts a phone fetches only when it opens them."""


def web_folder() -> Path:
    """Where the page's files are: inside the installed package, else in the checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "web"
    return installed if installed.is_dir() else package.parents[1] / "web"


@dataclass(frozen=True)
class Asset:
    """One static file, read once, with its compressed form beside it."""

    media_type: str
    plain: bytes
    packed: bytes | None

    @classmethod
    def read(cls, path: Path) -> Asset:
        return cls.of(SERVED[path.suffix], path.read_bytes())

    @classmethod
    def of(cls, media_type: str, plain: bytes) -> Asset:
        packed = None if media_type in PACKED_ALREADY else gzip.compress(plain, mtime=0)
        return cls(media_type, plain, packed)

    def response(self, accept_encoding: str, more: Mapping[str, str] = FOR_A_YEAR) -> Response:
        headers = {"Vary": "Accept-Encoding", "X-Content-Type-Options": "nosniff", **more}
        if self.packed is not None and "gzip" in accept_encoding:
            headers["Content-Encoding"] = "gzip"
            return Response(self.packed, media_type=self.media_type, headers=headers)
        return Response(self.plain, media_type=self.media_type, headers=headers)


class Assets:
    """All static files by their path, and the name of this very set of them and of the templates."""

    def __init__(self, folders: dict[str, Path], templates: Path, version: str) -> None:
        self.files = {
            prefix + path.relative_to(folder).as_posix(): Asset.read(path)
            for prefix, folder in folders.items()
            for path in sorted(folder.rglob("*"))
            if path.suffix in SERVED and path.is_file()
        }
        self.files[STYLE] = self._joined_styles()
        self.modules = [name for name in self.files if name.endswith(".js")]
        digest = hashlib.sha256()
        for name, asset in self.files.items():
            digest.update(name.encode() + b"\0" + asset.plain)
        for template in sorted(path for path in templates.rglob("*") if path.is_file()):
            digest.update(template.read_bytes())
        self.version = f"{version}-{digest.hexdigest()[:8]}"
        self.folder = f"static/{self.version}"

    def _joined_styles(self) -> Asset:
        """All styles as one file, those of the frame before those of the components: a phone asks once."""
        names = sorted((n for n in self.files if n.endswith(".css")), key=lambda n: (not n.startswith("style/"), n))
        return Asset.of("text/css", b"\n".join(self.files[name].plain for name in names))


def page_router(templates_dir: Path, static_dir: Path, version: str) -> APIRouter:
    """The routes of the page. Reads every file once, now; a changed file needs a restart."""
    assets = Assets({"": static_dir, "vendor/": static_dir.parent / "vendor"}, templates_dir, version)
    templates = Environment(
        loader=FileSystemLoader(templates_dir),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    router = APIRouter(include_in_schema=False)
    documents = {
        **{f"/{view}": _view(templates, assets, view) for view in VIEWS},
        "/": _view(templates, assets, "drive"),
        "/manifest.webmanifest": Asset.of("application/manifest+json", manifest(assets.folder)),
        "/worker.js": Asset.of(
            "text/javascript", worker(templates, assets.folder, assets.version, [*assets.modules, STYLE], VIEWS)
        ),
    }
    for path, document in documents.items():
        router.add_api_route(path, _afresh(document, assets.version), methods=["GET"], name=f"page-{path}")

    @router.get("/static/{asked_version}/{name:path}", name="page-static")
    @open_to_anybody
    async def static(asked_version: str, name: str, request: Request) -> Response:
        asset = assets.files.get(name)
        if asset is None or asked_version != assets.version:
            return Response("No such file. Reload the page.\n", status_code=404, media_type="text/plain")
        return asset.response(request.headers.get("accept-encoding", ""))

    return router


def _view(templates: Environment, assets: Assets, view: str) -> Asset:
    body = templates.get_template("page.html").render(
        view=view,
        views=VIEWS,
        static=assets.folder,
        style=STYLE,
        modules=assets.modules,
        later=tuple(f"components/{name}-view/" for name in FETCHED_WHEN_OPENED if name != view),
        version=assets.version,
    )
    return Asset.of("text/html", body.encode())


def _afresh(document: Asset, version: str) -> Callable[[Request], Awaitable[Response]]:
    """Shows a document, of which the browser asks each time whether it is still the same.

    Its ETag names the version of the whole page, so that an open page can tell that it is older.
    """
    tag = f'W/"{version}"'
    headers = {
        "Cache-Control": "no-cache",
        "Content-Security-Policy": CONTENT_SECURITY_POLICY,
        "Referrer-Policy": "no-referrer",
        "ETag": tag,
    }

    @open_to_anybody
    async def show(request: Request) -> Response:
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return document.response(request.headers.get("accept-encoding", ""), headers)

    return show
