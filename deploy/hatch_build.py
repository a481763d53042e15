"""Put the chart library into web/vendor: as the wheel's build hook, or run as a script in a checkout.

The archive comes through the configured npm client and is only unpacked when its SHA-512 matches the pinned
one. A stamp file beside the files says which archive they came from, so a second run, and a build from the
source archive, fetch nothing.
"""

from __future__ import annotations

import base64
import hashlib
import subprocess
import tarfile
import tempfile
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # run as a script where the build backend is not installed
    BuildHookInterface = object  # type: ignore[assignment,misc]

PACKAGE = "uplot@1.6.32"
INTEGRITY = "sha512-KIMVnG68zvu5XXUbC4LQEPnhwOxBuLyW1AHtpm6IKTXImkbLgkMy+jabjLgSLMasNuGGzQm/ep3tOkyTxpiQIw=="
WANTED = {
    "package/dist/uPlot.esm.js": "uPlot.esm.js",
    "package/dist/uPlot.d.ts": "uPlot.esm.d.ts",
    "package/dist/uPlot.min.css": "uPlot.min.css",
    "package/LICENSE": "LICENSE",
}
FETCH_TIMEOUT_S = 120


def fetch(web: Path) -> None:
    """Fill ``web/vendor/uplot`` unless its stamp already names the pinned archive."""
    target = web / "vendor" / "uplot"
    stamp = target / "integrity"
    if stamp.is_file() and stamp.read_text().strip() == INTEGRITY:
        return
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            ["npm", "pack", "--silent", "--ignore-scripts", PACKAGE],
            cwd=folder,
            check=True,
            timeout=FETCH_TIMEOUT_S,
            stdout=subprocess.DEVNULL,
        )
        archive = next(Path(folder).glob("*.tgz"))
        digest = base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode()
        if f"sha512-{digest}" != INTEGRITY:
            raise RuntimeError(f"{PACKAGE}: the archive's SHA-512 is not the pinned one; nothing was unpacked")
        target.mkdir(parents=True, exist_ok=True)
        with tarfile.open(archive) as opened:
            for member, name in WANTED.items():
                content = opened.extractfile(member)
                if content is None:
                    raise RuntimeError(f"{PACKAGE}: {member} is missing from the archive")
                (target / name).write_bytes(content.read())
    stamp.write_text(INTEGRITY + "\n")


class CustomBuildHook(BuildHookInterface):  # type: ignore[type-arg]
    """Called by hatchling before it collects the files of a wheel or a source archive."""

    def initialize(self, _version: str, build_data: dict[str, Any]) -> None:
        fetch(Path(self.root) / "web")
        build_data["artifacts"].append("web/vendor/**")


if __name__ == "__main__":
    fetch(Path(__file__).resolve().parents[1] / "web")
