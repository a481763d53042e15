"""The page's documents: asked for each time and told when they are the same; the manifest and the worker lead nowhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from geartender.api.page import page_router, web_folder

DOCUMENTS = ["/", "/drive", "/settings", "/manifest.webmanifest", "/worker.js"]


def client(templates: Path | None = None) -> TestClient:
    web = web_folder()
    app = FastAPI()
    app.include_router(page_router(templates or web / "templates", web / "static", "1.2.3"))
    return TestClient(app, base_url="http://vent.local")


@pytest.mark.parametrize("path", DOCUMENTS)
def test_a_document_is_asked_for_each_time_and_not_sent_twice(path: str) -> None:
    with client() as http:
        first = http.get(path)
        assert first.headers["cache-control"] == "no-cache"
        again = http.get(path, headers={"If-None-Match": first.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert (http.get(path, headers={"If-None-Match": 'W/"another"'})).content == first.content


def test_another_template_is_another_version(tmp_path: Path) -> None:
    templates = tmp_path / "templates"
    for path in (web_folder() / "templates").rglob("*"):
        if path.is_file():
            copy = templates / path.relative_to(web_folder() / "templates")
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(path.read_bytes())
    (templates / "stop.html").write_text("changed")
    with client() as before, client(templates) as after:
        assert (before.get("/drive")).headers["etag"] != (after.get("/drive")).headers["etag"]


def test_the_manifest_is_relative_and_its_icons_are_there() -> None:
    with client() as http:
        answer = http.get("/manifest.webmanifest")
        assert answer.headers["content-type"] == "application/manifest+json"
        found = answer.json()
        assert (found["start_url"], found["scope"]) == ("drive", "./")
        for icon in found["icons"]:
            assert not icon["src"].startswith(("/", "http"))
            assert (http.get(f"/{icon['src']}")).headers["content-type"] == icon["type"]


def test_the_worker_keeps_files_that_are_there_and_no_answer_of_the_api() -> None:
    with client() as http:
        script = (http.get("/worker.js")).text
        listed = re.search(r"const FILES = \[(.*)\];", script)
        assert listed is not None
        files = re.findall(r'"([^"]+)"', listed[1])
        assert len(files) > 50
        for name in files:
            assert name.startswith("static/")
            assert (http.get(f"/{name}")).status_code == 200, name
