"""Lets a reverse proxy put the service under a path of its own, whether or not the proxy cuts that path off (pure ASGI).

Everything behind sees the plain paths of the interface; what is built for the outside (`Location`, the address in the description,
the path of a cookie) begins with `root_path` of the scope.
"""

from __future__ import annotations

from geartender.access.door import App, Receive, Scope, Send


class Mounted:
    """Middleware in front of everything."""

    def __init__(self, app: App, root_path: str) -> None:
        self._app = app
        self._root_path = root_path

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._root_path and scope["type"] in ("http", "websocket"):
            path, raw = scope["path"], scope.get("raw_path")
            if path == self._root_path or path.startswith(f"{self._root_path}/"):
                path = path.removeprefix(self._root_path) or "/"
                raw = raw and (raw.removeprefix(self._root_path.encode()) or b"/")
            scope = {**scope, "root_path": self._root_path, "path": path, "raw_path": raw}
        await self._app(scope, receive, send)
