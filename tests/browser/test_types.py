"""The page's modules hold to their types."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

WEB = Path(__file__).resolve().parents[2] / "web"
COMPILER = WEB / "node_modules" / "typescript" / "bin" / "tsc"


@pytest.mark.browser
def test_the_modules_pass_the_type_check() -> None:
    node = shutil.which("node")
    if node is None or not COMPILER.exists():
        pytest.skip("needs node, and `npm ci` in web/")
    checked = subprocess.run(
        [node, str(COMPILER), "--noEmit", "-p", str(WEB)], capture_output=True, text=True, check=False
    )
    assert checked.returncode == 0, checked.stdout
