"""Why there is no train: which limit is in the way, found by searching again without it. Pure."""

from __future__ import annotations

import math
from dataclasses import replace

from geartender.build.strength import MM
from geartender.build.tooth import root_stress_mpa, spur_section_mm2, velocity_factor
from geartender.build.trains.search import Found, best_trains
from geartender.build.trains.task import Task


def none_because(task: Task) -> str:
    """Which limit is in the way of a task that no train fulfils, in plain words."""
    if task.ratios(1) is None:
        return _power(task)
    if _first(task, bed_mm=math.inf, allowable_mpa=math.inf) is None:
        return _ratio(task)
    with_bed = _first(task, bed_mm=math.inf)
    with_strength = _first(task, allowable_mpa=math.inf)
    if with_bed is not None:
        return _bed(task, with_bed) + (" Teeth that bear more would do as well." if with_strength else "")
    if with_strength is not None or task.bed_mm == math.inf:
        return _strength(task)
    return f"Bed and teeth are both in the way. {_strength(task)}"


def _first(task: Task, **without: float) -> Found | None:
    found = best_trains(replace(task, most=1, **without), lambda _: None)  # type: ignore[arg-type]  # limits by their names, all numbers
    return found[0] if found else None


def _asked(task: Task) -> str:
    return f"{task.torque_nm:g} N·m at {math.degrees(task.speed_rad_s):.6g}°/s"


def _power(task: Task) -> str:
    """Even one mesh loses too much, or the bridge lets too little through."""
    free = replace(task, max_current_a=math.inf).ratios(1)
    if free is not None:
        needed = task.motor.current_a(task.torque_nm / (free[1] * task.efficiency))
        return (
            f"The bridge's current limit is in the way: {_asked(task)} take {needed:.3g} A of the motor at least, and "
            f"current_limit_a is {task.max_current_a:g} A. Ask for less torque or less speed, or take a stronger bridge."
        )
    volts = task.max_duty * task.motor.supply_v - task.motor.no_load_current_a * task.motor.resistance_ohm
    has = max(volts, 0.0) ** 2 / (4 * task.motor.resistance_ohm)
    needs = task.torque_nm * task.speed_rad_s / task.efficiency
    return (
        f"The motor has not the power: {_asked(task)} take {needs:.3g} W of it even through a single mesh, and at the "
        f"bridge's highest duty of {task.max_duty:g} it gives {has:.3g} W at most. Ask for less speed or less torque, or "
        "take a stronger motor."
    )


def _ratio(task: Task) -> str:
    """No teeth make a ratio that the motor can do it with."""
    ranges = [(meshes, task.ratios(meshes)) for meshes in range(1, task.most_meshes + 1)]
    meshes, (low, high) = [(meshes, found) for meshes, found in ranges if found is not None][-1]
    through = f"through {meshes} mesh{'es' if meshes > 1 else ''} the motor needs a ratio"
    teeth, most = f"{task.fewest_teeth} to {task.most_teeth} teeth", task.highest_step**meshes
    if most < low:
        lost = " Another mesh would lose more than the motor has." if meshes < task.most_meshes else ""
        return (
            f"Too few meshes or teeth: {through} of {low:.4g} at least, and {teeth} make {most:.4g} at most.{lost} "
            "Allow more meshes or more teeth, or ask for less."
        )
    return (
        f"No whole teeth make the ratio: {through} from {low:.6g} to {high:.6g}, and {teeth} make none there. "
        "Allow more meshes or more teeth, or ask for less."
    )


def _bed(task: Task, found: Found) -> str:
    """What the first train without the limit has for its largest wheel."""
    by_steps = dict(zip(task.modules_in_steps(), task.modules_mm, strict=True))
    wheels = zip(found.teeth, found.modules, strict=True)
    largest = max(by_steps[module] * (max(teeth) + 2) for teeth, module in wheels)
    return (
        f"The bed is too small: the shortest train without that limit has a wheel of {largest:.4g} mm, and the bed takes "
        f"{task.bed_mm:g} mm."
    )


def _strength(task: Task) -> str:
    """How much the strongest last mesh is stressed: it carries the whole torque."""
    least = _least_stress_mpa(task)
    asked = f"The teeth do not bear {_asked(task)}"
    advice = "Allow larger modules, wider teeth or more teeth, or ask for less torque."
    if least > task.allowable_mpa:
        return (
            f"{asked}: even the strongest last mesh there is would be stressed with {least:.3g} MPa, and "
            f"{task.allowable_mpa:g} MPa are allowed. {advice}"
        )
    return f"{asked} with {task.allowable_mpa:g} MPa in every mesh of any train of the right ratio. {advice}"


def _least_stress_mpa(task: Task) -> float:
    """Stress at the root of the last mesh, at its least over all pairs of wheels that the bed takes."""
    return min(
        (
            _stress_mpa(task, driver, driven, module)
            for module in task.modules_mm
            for driver in range(task.fewest_teeth, task.most_teeth + 1)
            for driven in range(task.fewest_teeth, task.most_teeth + 1)
            if module * (max(driver, driven) + 2) <= task.bed_mm
        ),
        default=math.inf,
    )


def _stress_mpa(task: Task, driver: int, driven: int, module: float) -> float:
    force = 2 * task.torque_nm / (MM * module * driven * task.efficiency)
    section = spur_section_mm2(task.face_of(module), module, min(driver, driven))
    return root_stress_mpa(force, section, velocity_factor(task.speed_rad_s * module * driven / 2 * MM))
