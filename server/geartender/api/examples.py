"""Example answers for the description of the interface; a test holds them against the models."""

from __future__ import annotations

from typing import Any

MOTION: dict[str, Any] = {
    "id": "m-7",
    "servo": "vent",
    "kind": "move",
    "state": "running",
    "target_deg": 35.0,
    "planned_s": 4.2,
    "actual_s": None,
    "end_deg": None,
    "error_deg": None,
    "peak_torque_nm": None,
    "reason": None,
    "asked_by": "phone-4f2a",
    "asked_at": "2031-03-01T06:00:00Z",
}

RUN: dict[str, Any] = {
    "id": "r-3fa9c04d1b22",
    "sequence": "air-at-noon",
    "servo": "vent",
    "state": "running",
    "asked_by": "phone-4f2a",
    "asked_at": "2031-03-01T12:00:00Z",
    "started_at": "2031-03-01T12:00:00.020000Z",
    "ended_at": None,
    "planned_s": 610.9,
    "actual_s": None,
    "held_s": 0.0,
    "steps_begun": 1,
    "steps_total": 3,
    "reason": None,
    "steps": [
        {
            "position": 0,
            "at": "steps[0]",
            "do": "move",
            "servo": "vent",
            "state": "running",
            "begun_at": "2031-03-01T12:00:00.021000Z",
            "planned_s": 4.6,
            "actual_s": None,
            "target_deg": 35.0,
            "end_deg": None,
            "error_deg": None,
            "peak_torque_nm": None,
            "motions": ["m-7"],
            "reason": None,
        }
    ],
    "next": None,
}

SNAPSHOT: dict[str, Any] = {
    "name": "vent",
    "state": "moving",
    "homed": True,
    "armed": True,
    "angle_deg": 12.5,
    "target_deg": 35.0,
    "speed_deg_s": 8.0,
    "torque_nm": 0.4,
    "duty": 0.55,
    "supply_v": 11.8,
    "winding_c": 31.0,
    "fault": None,
    "helm": {"holder": "phone-4f2a", "since": "2031-03-01T05:59:30Z", "yours": True},
    "motion": MOTION,
    "run": None,
    "link": {
        "state": "connected",
        "reason": None,
        "round_trip_ms": 1.2,
        "errors": 0,
        "reconnects": 0,
        "firmware_version": "0.1.0",
        "protocol_version": 2,
        "board_id": "simulated",
    },
    "source": "host",
    "pulse_us": None,
    "held_up": False,
    "override": 1.0,
    "limits": {"speed_deg_s": 10.0, "accel_deg_s2": 20.0, "jerk_deg_s3": 80.0, "torque_nm": 1.5},
    "travel": {"min_deg": 0.0, "max_deg": 50.0, "endless": False, "up_word": "open", "down_word": "close"},
    "deg_per_count": 0.02,
    "counts": 625,
    "age_s": 0.02,
}

TRACE: dict[str, Any] = {
    "items": [
        {
            "t_s": 0.5,
            "angle_deg": 2.1,
            "target_deg": 35.0,
            "reference_deg": 2.12,
            "speed_deg_s": 7.9,
            "torque_nm": 0.6,
            "current_a": 0.45,
            "duty": 0.5,
            "supply_v": 11.9,
            "counts": 105,
        }
    ],
    "next": None,
}

TRUTH: dict[str, Any] = {
    "t_s": 61.5,
    "output_deg": 12.51,
    "motor_counts": 625.4,
    "output_deg_s": 8.01,
    "duty": 0.55,
    "current_a": 0.41,
    "output_nm": 0.52,
}
