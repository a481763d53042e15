"""Does the steps of a run on real servos, and keeps to the time that was worked out for each.

A step lasts its path and a little more for coming to rest, so that a run takes as long as its preview said; one that ends late
takes it from the rest of the next. Each step is on disk before it moves, and its result before the next begins.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from geartender.errors import Invalid, Refused
from geartender.sequences.forecast import SETTLE_S
from geartender.sequences.interpreter import Act
from geartender.sequences.model import CheckStep, HomeStep, MoveStep, TogetherStep, TurnStep, WaitStep
from geartender.sequences.run import Run, RunOver
from geartender.sequences.run_models import RunState, RunStepReport, StepState
from geartender.servo.models import MotionState
from geartender.servo.motions import Motion
from geartender.servo.requests import LEAST, MoveRequest, TurnRequest
from geartender.servo.servo import Servo
from geartender.world import World

TOGETHER_S = 0.02
"""s beyond the slowest line's lead at which servos begin together."""

TOGETHER_SPARE = 1e-6
TOGETHER_SPARE_S = 1e-3
"""What the common duration is longer than the quickest of the slowest servo: its plan is made again where it stands then."""

CLOCK_S = 1e-6
"""s; what is left of a step below this is rounding, and no clock can wait for it."""

Keep = Callable[[RunStepReport], Awaitable[None]]
"""Keeps a step as it is now, and tells those who watch. Returns once the disk has it."""

Begin = Callable[[], Awaitable[list[Motion]]]


class Driver:
    """The actor of one run."""

    def __init__(self, run: Run, world: World, keep: Keep) -> None:
        self._run = run
        self._wall = world.wall
        self._keep = keep
        self._due = 0.0
        self._last: dict[str, Motion] = {}

    async def act(self, act: Act) -> None:
        """Do one step to its end. Raises RunOver."""
        step = await self._begin(act)
        began = self._run.clock()
        if act.servo in self._run.out:
            step.state, step.reason = StepState.SKIPPED, self._run.out[act.servo]
        else:
            try:
                await self._do(act, step)
            except RunOver as over:
                await self._broken_off(step, began, over)
                raise
            except Refused as refused:
                end = RunOver(RunState.STOPPED, f"{act.place}: {refused.detail}")
                await self._broken_off(step, began, end)
                raise end from refused
        if step.state is StepState.RUNNING:
            step.state = StepState.DONE
        step.actual_s = round(self._run.clock() - began, 4)
        await self._keep(step)

    async def check(self, act: Act, step: CheckStep) -> str | None:
        """None when all is well, else what is not. Raises RunOver."""
        report = await self._begin(act)
        if act.servo in self._run.out:
            report.state, report.reason = StepState.SKIPPED, self._run.out[act.servo]
            trouble = None
        else:
            trouble = self._trouble(self._servo(act), step)
            report.state = StepState.DONE if trouble is None else StepState.FAILED
            report.reason = trouble
        report.actual_s = 0.0
        await self._keep(report)
        return trouble

    # One step

    async def _begin(self, act: Act) -> RunStepReport:
        await self._run.going()
        step = RunStepReport(
            position=self._run.steps_begun, at=str(act.place), do=act.step.do, servo=act.servo, begun_at=self._wall()
        )
        self._run.steps_begun += 1
        await self._keep(step)
        await self._run.going()
        return step

    async def _broken_off(self, step: RunStepReport, began: float, over: RunOver) -> None:
        step.state = StepState.FAULTED if over.state is RunState.FAULTED else StepState.STOPPED
        step.reason = over.reason
        step.actual_s = round(self._run.clock() - began, 4)
        await self._keep(step)

    async def _do(self, act: Act, step: RunStepReport) -> None:
        match act.step:
            case WaitStep():
                step.planned_s = act.step.for_s
                self._due += act.step.for_s
                await self._until_due()
            case HomeStep():
                await self._home(self._servo(act), step)
            case MoveStep():
                await self._move(self._servo(act), act.step, step)
            case TurnStep():
                await self._turn(self._servo(act), act.step, step)
            case TogetherStep():
                await self._together(act, act.step, step)
            case _:
                raise AssertionError(act.step)

    async def _home(self, servo: Servo, step: RunStepReport) -> None:
        async def begin() -> list[Motion]:
            return [await servo.home(self._run.who)]

        await self._motions(step, [servo], begin)
        self._due = self._run.clock()

    async def _move(self, servo: Servo, wanted: MoveStep, step: RunStepReport) -> None:
        target = servo.target_of(wanted)
        request: MoveRequest = wanted

        async def begin() -> list[Motion]:
            nonlocal request
            motion = await servo.move(self._run.who, request)
            request = wanted.model_copy(update={"to_deg": target, "by_deg": None, "duration_s": None})
            return [motion]

        await self._motions(step, [servo], begin)

    async def _turn(self, servo: Servo, wanted: TurnStep, step: RunStepReport) -> None:
        began: float | None = None
        goal: float | None = None

        async def begin() -> list[Motion]:
            nonlocal began, goal
            if began is None:
                began = self._run.clock()
                goal = (
                    None
                    if wanted.turns is None
                    else servo.here() + 360.0 * (wanted.turns if wanted.speed_deg_s > 0 else -wanted.turns)
                )
                return [await servo.turn(self._run.who, wanted)]
            rest = self._rest_of(wanted, servo, goal, began)
            return [] if rest is None else [await servo.turn(self._run.who, rest)]

        await self._motions(step, [servo], begin)

    def _rest_of(self, wanted: TurnStep, servo: Servo, goal: float | None, began: float) -> TurnRequest | None:
        """What is left of a turn that was held; None when nothing is."""
        if goal is None:
            left = (wanted.for_s or 0.0) - (self._run.clock() - began)
            update = {"for_s": left}
        else:
            left = (goal - servo.here()) / 360.0 * (1.0 if wanted.speed_deg_s > 0 else -1.0)
            update = {"turns": left}
        return wanted.model_copy(update=update) if left >= LEAST else None

    async def _together(self, act: Act, wanted: TogetherStep, step: RunStepReport) -> None:
        moves = [(self._servo(Act(act.place, move, move.servo or act.servo)), move) for move in wanted.steps]
        moves = [(servo, move) for servo, move in moves if servo.name not in self._run.out]
        fixed = [
            (servo, move.model_copy(update={"to_deg": servo.target_of(move), "by_deg": None})) for servo, move in moves
        ]

        async def begin() -> list[Motion]:
            duration = max(servo.quickest_s(move) for servo, move in fixed) * (1 + TOGETHER_SPARE) + TOGETHER_SPARE_S
            at = max(servo.ready_at() for servo, _ in fixed) + TOGETHER_S
            asked = [
                servo.move(self._run.who, move.model_copy(update={"duration_s": duration}), at) for servo, move in fixed
            ]
            answers = await asyncio.gather(*asked, return_exceptions=True)
            for answer in answers:
                if isinstance(answer, BaseException):
                    self._run.rest()
                    raise answer
            return [answer for answer in answers if isinstance(answer, Motion)]

        if fixed:
            await self._motions(step, [servo for servo, _ in fixed], begin)

    # Motions

    async def _motions(self, step: RunStepReport, servos: list[Servo], begin: Begin) -> None:
        """Start motions, wait for their end and for the step's time; after a hold start what is left of them."""
        while True:
            for servo in servos:
                await servo.rested()
            await self._run.going()
            try:
                motions = await begin()
            except Refused:
                if self._run.state is RunState.HELD:
                    continue
                if self._run.over is not None:
                    raise self._run.over from None
                raise
            self._note(step, motions)
            for motion in motions:
                await motion.ended()
                self._last[motion.servo] = motion
            if all(motion.state is MotionState.DONE for motion in motions):
                break
            if not await self._goes_on_after_hold():
                self._judge(step, motions)
                break
        self._take_results(step, motions)
        await self._until_due()

    async def _goes_on_after_hold(self) -> bool:
        if self._run.over is not None or self._run.state is not RunState.HELD:
            return False
        await self._run.going()
        return True

    def _note(self, step: RunStepReport, motions: list[Motion]) -> None:
        """Plan the step's time by its longest motion."""
        step.motions = [*step.motions, *(motion.id for motion in motions)]
        planned = [motion.planned_s for motion in motions if motion.planned_s is not None]
        if not planned:
            return
        takes = max(planned) + SETTLE_S
        if step.planned_s is None:
            step.planned_s = round(takes, 4)
            self._due += takes
        else:
            self._due = self._run.clock() + takes

    def _judge(self, step: RunStepReport, motions: list[Motion]) -> None:
        """What it means for the run that a motion ended otherwise. Raises RunOver unless the sequence says skip."""
        if self._run.over is not None:
            raise self._run.over
        for motion in motions:
            if motion.state is MotionState.DONE:
                continue
            why = self._run.out.get(motion.servo)
            if why is None:
                state = (
                    RunState.FAULTED if motion.state in (MotionState.FAULTED, MotionState.LOST) else RunState.STOPPED
                )
                raise RunOver(state, f"{step.at}: {motion.reason or motion.state}")
            step.state, step.reason = StepState.FAULTED, why

    @staticmethod
    def _take_results(step: RunStepReport, motions: list[Motion]) -> None:
        peaks = [motion.peak_torque_nm for motion in motions if motion.peak_torque_nm is not None]
        step.peak_torque_nm = max([step.peak_torque_nm or 0.0, *peaks]) if peaks else step.peak_torque_nm
        if len(motions) == 1:
            (motion,) = motions
            step.target_deg, step.end_deg, step.error_deg = motion.target_deg, motion.end_deg, motion.error_deg

    async def _until_due(self) -> None:
        """Wait until the step's time is over. Raises RunOver."""
        while True:
            await self._run.going()
            left = self._due - self._run.clock()
            if left <= CLOCK_S:
                return
            await self._run.changes(left)

    # Looking

    def _trouble(self, servo: Servo, step: CheckStep) -> str | None:
        last = self._last.get(servo.name)
        peak = (last.peak_torque_nm if last else None) or 0.0
        if step.torque_below_nm is not None and peak >= step.torque_below_nm:
            return f"the torque went up to {peak:.2f} N·m, not below {step.torque_below_nm:g} N·m"
        if step.angle_within_deg is None:
            return None
        angle = servo.snapshot().angle_deg
        if angle is None:
            return "its position is not known"
        if isinstance(step.angle_within_deg, tuple):
            low, high = step.angle_within_deg
            return None if low <= angle <= high else f"it stands at {angle:.2f}°, not between {low:g}° and {high:g}°"
        target = last.target_deg if last else None
        if target is None:
            return "no move came before in this run, so there is no angle to hold it against"
        off = abs(angle - target)
        within = step.angle_within_deg
        return (
            None if off <= within else f"it stands at {angle:.2f}°, {off:.2f}° from {target:g}°, not within {within:g}°"
        )

    def _servo(self, act: Act) -> Servo:
        name = act.needed_servo()
        if name not in self._run.servos:
            raise Invalid(f"{act.place}: the run does not hold the servo {name!r}.")
        return self._run.servos[name]
