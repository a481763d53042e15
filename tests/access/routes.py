"""Every route of the service, written down by hand: the least role that may use it, and whether it moves or changes something.

A route that is not here fails the tests, until somebody has said who may use it.
"""

OPEN = "open"
"""For anybody who reaches the service."""

MOVES_OR_CHANGES = {
    "POST /api/v1/servos/{servo}/arm": "drive",
    "POST /api/v1/servos/{servo}/disarm": "watch",
    "POST /api/v1/servos/{servo}/reset": "drive",
    "PUT /api/v1/servos/{servo}/override": "drive",
    "PUT /api/v1/servos/{servo}/source": "drive",
    "POST /api/v1/servos/{servo}/release": "manage",
    "POST /api/v1/servos/{servo}/reconnect": "manage",
    "POST /api/v1/servos/{servo}/helm": "drive",
    "DELETE /api/v1/servos/{servo}/helm": "drive",
    "POST /api/v1/servos/{servo}/home": "drive",
    "POST /api/v1/servos/{servo}/moves": "drive",
    "POST /api/v1/servos/{servo}/turns": "drive",
    "POST /api/v1/servos/{servo}/stop": "watch",
    "PUT /api/v1/servos/{servo}/build": "manage",
    "PUT /api/v1/sequences/{name}": "drive",
    "DELETE /api/v1/sequences/{name}": "drive",
    "POST /api/v1/sequences/{name}/runs": "drive",
    "POST /api/v1/runs/{id}/stop": "watch",
    "POST /api/v1/runs/{id}/hold": "watch",
    "POST /api/v1/runs/{id}/resume": "drive",
    "PUT /api/v1/timetable/{name}": "drive",
    "DELETE /api/v1/timetable/{name}": "drive",
    "POST /api/v1/simulation": "drive",
    "POST /api/v1/bench/{procedure}/runs": "manage",
    "POST /api/v1/bench/runs/{id}/answer": "manage",
    "POST /api/v1/bench/runs/{id}/stop": "watch",
    "PUT /api/v1/servos/{servo}/measured": "manage",
    "DELETE /api/v1/notices/{id}": "drive",
    "PUT /api/v1/backup": "manage",
    "POST /api/v1/pairing": OPEN,
    "POST /api/v1/pairing/offers": "manage",
    "PUT /api/v1/me": "watch",
    "DELETE /api/v1/me": "watch",
    "POST /api/v1/me/proof": "watch",
    "PUT /api/v1/me/passphrase": "watch",
    "POST /api/v1/keys": "manage",
    "PUT /api/v1/credentials/{id}": "manage",
    "DELETE /api/v1/credentials/{id}": "manage",
}
READS = {
    "GET /api/v1/sequences": "watch",
    "GET /api/v1/bench": "watch",
    "GET /api/v1/bench/runs": "watch",
    "GET /api/v1/bench/runs/{id}": "watch",
    "GET /api/v1/bench/runs/{id}/records/{name}": "watch",
    "GET /api/v1/bench/report": "watch",
    "GET /api/v1/bench/versions": "watch",
    "GET /api/v1/bench/health": "watch",
    "GET /api/v1/bench/{procedure}": "watch",
    "GET /api/v1/servos/{servo}/measured": "watch",
    "GET /api/v1/sequences/{name}": "watch",
    "POST /api/v1/sequences/{name}/preview": "watch",
    "GET /api/v1/runs": "watch",
    "GET /api/v1/runs/{id}": "watch",
    "GET /api/v1/timetable": "watch",
    "GET /api/v1/timetable/{name}": "watch",
    "GET /api/v1/timetable/{name}/next": "watch",
    "GET /": OPEN,
    "GET /drive": OPEN,
    "GET /sequences": OPEN,
    "GET /build": OPEN,
    "GET /bench": OPEN,
    "GET /journal": OPEN,
    "GET /settings": OPEN,
    "GET /manifest.webmanifest": OPEN,
    "GET /worker.js": OPEN,
    "GET /static/{asked_version}/{name:path}": OPEN,
    "GET /healthz": OPEN,
    "GET /metrics": "watch",
    "GET /problems/{slug}": OPEN,
    "GET /api/v1/openapi.json": "watch",
    "GET /api/v1/servos": "watch",
    "GET /api/v1/servos/{servo}": "watch",
    "GET /api/v1/servos/{servo}/motions": "watch",
    "GET /api/v1/servos/{servo}/motions/{id}": "watch",
    "GET /api/v1/servos/{servo}/motions/{id}/trace": "watch",
    "GET /api/v1/servos/{servo}/build": "watch",
    "GET /api/v1/servos/{servo}/figures": "watch",
    "GET /api/v1/simulation": "watch",
    "POST /api/v1/figures": "watch",
    "GET /api/v1/servos/{servo}/wiring": "watch",
    "POST /api/v1/wiring": "watch",
    "GET /api/v1/figures/why": "watch",
    "GET /api/v1/build/schema": "watch",
    "POST /api/v1/build/from-toml": "watch",
    "POST /api/v1/build/to-toml": "watch",
    "POST /api/v1/trains": "watch",
    "GET /api/v1/journal": "watch",
    "GET /api/v1/journal/{id}": "watch",
    "GET /api/v1/journal/{id}/trace": "watch",
    "GET /api/v1/notices": "watch",
    "GET /api/v1/backup": "manage",
    "GET /api/v1/me": "watch",
    "GET /api/v1/credentials": "manage",
}
ROUTES = {**MOVES_OR_CHANGES, **READS}
SOCKETS = {"/api/v1/live": "watch"}

FOR_ONE_SERVO = {
    "GET /api/v1/servos",
    "GET /api/v1/openapi.json",
    "GET /api/v1/me",
    "PUT /api/v1/me",
    "DELETE /api/v1/me",
    "POST /api/v1/me/proof",
    "PUT /api/v1/me/passphrase",
    "POST /api/v1/figures",
    "POST /api/v1/wiring",
    "GET /api/v1/figures/why",
    "GET /api/v1/build/schema",
    "POST /api/v1/build/from-toml",
    "POST /api/v1/build/to-toml",
    "POST /api/v1/trains",
}
"""Those without a servo in their address that a key to one servo may use all the same."""

FILLED = {
    "servo": "vent",
    "id": "m-1",
    "slug": "busy",
    "procedure": "first-power",
    "name": "air-at-noon",
    "asked_version": "x",
    "name:path": "app.js",
}
"""What stands in the addresses of requests to them."""


def filled(path: str) -> str:
    """The path with something in each of its gaps."""
    for name, value in FILLED.items():
        path = path.replace("{" + name + "}", value)
    return path
