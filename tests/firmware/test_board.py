"""The board file on a chip that is not there: off first, counts and bridge by register, settings kept, restarts."""

import ast
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from geartender.build import parse_build
from geartender.firmware import registers as r
from geartender.firmware import tick as t
from geartender.firmware.lines import encode
from geartender.firmware.memory import Memory
from geartender.firmware.version import PROTOCOL
from geartender.servo.settings import firmware_settings, setting_lines
from geartender.simulator.board import CPythonBoard, Inputs, age_word
from geartender.simulator.mechanics import Mechanics
from geartender.simulator.plant import plant_of
from tests.build.test_mistakes import changed
from tests.firmware.fake_chip import MODULES, PERIOD, Ages, Chip, Counter, Pins, Registers, Restarted, board_file
from tests.firmware.interpreter import FIRMWARE

WIRED = {"pins.tx": 0, "pins.rx": 1}


def settings_of(**changes: Any) -> dict[str, int]:
    return firmware_settings(
        parse_build(changed(WIRED | {key.replace("__", "."): value for key, value in changes.items()}))
    )


class Rig:
    """A program on the chip, with its registers in reach."""

    def __init__(self, folder: str, chip: Chip, module: Any) -> None:
        self.chip = chip
        self.program = module.Program(folder)
        self.counter, self.ages, self.pins, self.slice = Counter(), Ages(), Pins(), Registers()
        self.board = self.program.chip
        self.board.pio, self.board.pio_1, self.board.sio = self.counter, self.ages, self.pins
        if hasattr(self.board, "bridge"):
            self.board.bridge.slice_a = self.board.bridge.slice_b = self.slice

    def tick(self) -> None:
        self.chip.callback(None)

    def levels(self) -> tuple[int, int]:
        """What the two halves of the slice compare with."""
        return self.slice[0] & 0xFFFF, self.slice[0] >> 16


@pytest.fixture
def chip() -> Chip:
    return Chip()


@pytest.fixture
def module(chip: Chip) -> Iterator[Any]:
    with board_file(chip) as imported:
        yield imported


def wired(tmp_path: Any, chip: Chip, module: Any, **changes: Any) -> Rig:
    settings = settings_of(**changes)
    Memory(str(tmp_path)).keep(" ".join(f"{name}={value}" for name, value in settings.items()))
    return Rig(str(tmp_path), chip, module)


def test_a_new_board_touches_no_pin_and_listens_on_usb(
    tmp_path: Any, chip: Chip, module: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Path(os.devnull).open() as file:
        monkeypatch.setattr("sys.stdin", file)
        rig = Rig(str(tmp_path), chip, module)
    assert not {"Pin", "PWM", "StateMachine", "WDT"} & set(chip.names())
    assert ("kbd_intr", -1) in chip.log
    rig.tick()
    assert rig.program.core.state[t.NOW] == 2000


def test_the_bridge_is_off_before_anything_else_is_made(tmp_path: Any, chip: Chip, module: Any) -> None:
    wired(tmp_path, chip, module)
    first, *rest = [entry for entry in chip.log if entry[0] in {"Pin", "PWM", "StateMachine", "WDT"}]
    assert first == ("Pin", 8, 1, {"value": 0})
    assert [entry[0] for entry in rest][:4] == ["Pin", "PWM", "Pin", "PWM"]
    assert all(entry[-1]["duty_u16"] == 0 for entry in rest if entry[0] == "PWM")
    names = [entry[0] for entry in rest]
    assert names.index("WDT") > names.index("StateMachine") > names.index("PWM")


def test_the_counter_starts_with_the_sensors_as_they_are(tmp_path: Any, chip: Chip, module: Any) -> None:
    wired(tmp_path, chip, module)
    done = [entry[2] for entry in chip.log if entry[0] == "StateMachine.exec"]
    assert done == ["mov(x, invert(null))", "mov(y, null)", "mov(osr, pins)"]
    assert chip.names().index("StateMachine.active") > chip.names().index("StateMachine.exec")


@pytest.mark.parametrize("steps", [[3, 3, -7], [2**23 - 1, 5, -9], [-1, -1, 1]])
def test_counts_go_on_over_every_wrap(tmp_path: Any, chip: Chip, module: Any, steps: list[int]) -> None:
    rig = wired(tmp_path, chip, module)
    rig.counter.count = 2**24 - 2
    rig.tick()
    for step in steps:
        rig.counter.stale.extend([rig.counter.word()] * 4)
        rig.counter.count += step
        rig.tick()
    assert rig.program.core.state[t.COUNT_IN] == sum(steps) % 2**30


def test_machines_that_offer_words_faster_than_they_are_taken_hold_no_tick_up(
    tmp_path: Any, chip: Chip, module: Any
) -> None:
    rig = wired(tmp_path, chip, module)
    state = rig.program.core.state
    rig.tick()
    rig.counter.always_full = rig.ages.always_full = True
    rig.counter.count += 7
    rig.ages.rounds = [100, 200]
    rig.tick()
    assert (state[t.COUNT_IN], state[t.AGE_IN]) == (7, 100 * r.ROUND)


def test_the_newest_edge_of_either_sensor_is_the_one_that_is_timed(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    made = [entry for entry in chip.log if entry[0] == "StateMachine"]
    assert [(entry[1], entry[-1]["freq"], entry[-1]["jmp_pin"].args[0]) for entry in made[1:]] == [
        (5, 32_768_000, 2),
        (6, 32_768_000, 3),
    ]
    state = rig.program.core.state
    for rounds, age in (([900, 20], 80), ([3, 20], 12), ([-5, 2**31 - 1], 65536), ([16_384, 16_383], 65532)):
        rig.ages.rounds = rounds
        rig.ages.stale[0].extend([1, 1, 1, 1])
        rig.tick()
        assert state[t.AGE_IN] == age
    rig.ages.running = False
    rig.tick()
    assert state[t.AGE_IN] == t.TICK_AGE, "without its clock the tick goes by the count alone"


def test_impossible_changes_are_added_up_over_their_wrap(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    rig.tick()
    for _ in range(5):
        rig.counter.bad += 100
        rig.tick()
    assert rig.program.core.state[t.ILLEGAL_IN] == 500


@pytest.mark.parametrize(("mark_is", "level", "mark"), [("low", 0, 1), ("low", 1, 0), ("high", 1, 1), ("high", 0, 0)])
def test_the_home_sensor_says_mark_at_its_own_level(
    tmp_path: Any, chip: Chip, module: Any, mark_is: str, level: int, mark: int
) -> None:
    rig = wired(tmp_path, chip, module, home__mark_is=mark_is)
    rig.pins[r.SIO_IN] = level << 4
    rig.tick()
    assert rig.program.core.state[t.HOME_IN] == mark


def test_a_counter_that_stands_still_starves_the_watchdog(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    rig.tick()
    assert chip.fed == 1
    rig.counter.running = False
    for _ in range(20):
        rig.tick()
    assert chip.fed == 1 + module.STUCK_TICKS - 1


def give(rig: Rig, duty: int, bridge: int) -> tuple[int, int]:
    state = rig.program.core.state
    state[t.DUTY_OUT], state[t.BRIDGE_OUT] = duty, bridge
    board = rig.board
    r.give(state, board.wiring, board.bridge.slice_a, board.bridge.slice_b, rig.pins)
    return rig.levels()


def test_two_inputs_pull_one_low_for_the_share_and_short_in_between(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    assert give(rig, 4000, 1) == (PERIOD, PERIOD * 6 // 10)
    assert give(rig, -10_000, 1) == (0, PERIOD)
    assert give(rig, 0, 1) == (PERIOD, PERIOD)
    assert rig.pins.out == 1 << 8
    assert give(rig, 0, 0) == (0, 0)
    assert rig.pins.out == 0


def test_pwm_and_direction(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module, bridge__inputs="pwm_direction")
    assert give(rig, 5000, 1)[0] == PERIOD // 2
    assert rig.pins.out == 1 << 8
    assert give(rig, -2500, 1)[0] == PERIOD // 4
    assert rig.pins.out == 1 << 8 | 1 << 7
    assert give(rig, 0, 0)[0] == 0
    assert rig.pins.out & 1 << 8 == 0


def test_whatever_goes_wrong_in_the_tick_takes_drive_away_and_ends_the_program(
    tmp_path: Any, chip: Chip, module: Any
) -> None:
    rig = wired(tmp_path, chip, module)
    rig.tick()
    fed = chip.fed
    rig.board.sio = None
    rig.tick()
    assert chip.fed == fed
    assert ("Pin.value", (8, 1), 0) in chip.log
    assert [entry[-1] for entry in chip.log if entry[0] == "PWM.duty_u16"][-2:] == [0, 0]
    with pytest.raises(TypeError):
        rig.program.turn()


def test_ticks_that_take_too_long_are_counted_and_are_a_fault_when_they_go_on(
    tmp_path: Any, chip: Chip, module: Any
) -> None:
    rig = wired(tmp_path, chip, module)
    state = rig.program.core.state
    state[t.MODE] = t.REST
    for _ in range(3):
        rig.tick()
    assert state[t.OVERRAN_IN] == 0
    chip.tick_us = 1600
    for _ in range(4):
        assert state[t.FAULT] == 0
        rig.tick()
    assert (state[t.OVERRAN_IN], state[t.FAULT], state[t.MODE]) == (4, t.OVERRUN, t.OFF)


def test_the_supply_is_read_through_its_divider(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    rig.program.turn()
    assert rig.program.core.state[t.SUPPLY_IN] == pytest.approx(3300 / 4 * 11, abs=15)


def talk(rig: Rig, *bodies: str) -> list[str]:
    """What the firmware answers to requests, numbered from 1 on."""
    before = len(rig.chip.sent)
    for number, body in enumerate(bodies, start=1):
        rig.chip.received.append(encode(f"{number} {body}"))
        for _ in range(3):
            rig.tick()
            rig.program.turn()
    lines = rig.chip.sent[before:].decode().split("\n")
    return [line.split("*")[0] for line in lines if line[:1].isdigit()]


def test_new_limits_are_kept_and_new_wiring_restarts_the_chip(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module)
    settings = settings_of(limits__torque_nm=5.0)
    lines = [f"set {' '.join(line)}" for line in setting_lines(settings)]
    answers = talk(rig, f"hello 0badcafe {PROTOCOL}", *lines)
    assert all(answer.split()[1] == "ok" for answer in answers)
    assert Memory(str(tmp_path)).text == " ".join(f"{name}={settings[name]}" for name in _order(settings))
    with pytest.raises(Restarted):
        talk(rig, f"hello 0badcaff {PROTOCOL}", "set pin_home=5")
    again = Rig(str(tmp_path), chip, module)
    assert again.board.wiring[r.HOME_PIN] == 5


def _order(settings: dict[str, int]) -> list[str]:
    from geartender.servo.settings import ORDER

    return [name for name in ORDER if name in settings]


def test_a_home_and_a_move_by_register_are_those_of_the_simulator(tmp_path: Any, chip: Chip, module: Any) -> None:
    """The same mechanics behind the registers and behind the simulator's board: the same duty at every tick."""
    sheet = parse_build(changed(WIRED))
    rig = wired(tmp_path, chip, module)
    settings = firmware_settings(sheet)
    other = CPythonBoard("b", "x")
    lines = [f"set {' '.join(line)}" for line in setting_lines(settings)]
    requests = [f"hello 0badcafe {PROTOCOL}", *lines]
    requests += [f"arm {2**29}", f"home 7 {2**29}", *["beat"] * 40]
    bodies = [Mechanics(plant_of(sheet), True, 1) for _ in range(2)]
    drives = [(0.0, False), (0.0, False)]
    rig.tick()
    rig.board.adc = None
    for turn in range(1500):
        for body, drive in zip(bodies, drives, strict=True):
            body.advance(0.002, *drive)
        line = (
            encode(f"{turn // 30 + 1} {requests[turn // 30]}") if turn % 30 == 0 and turn // 30 < len(requests) else b""
        )
        rig.counter.count = bodies[0].counts
        rig.ages.rounds[turn % 2] = age_word(bodies[0].edge_age_s, 2000) // r.ROUND
        rig.ages.rounds[1 - turn % 2] = r.AGE_TOP
        rig.pins[r.SIO_IN] = (0 if bodies[0].home_mark else 1) << 4
        rig.tick()
        if line:
            chip.received.append(line)
        rig.program.turn()
        rounds = age_word(bodies[1].edge_age_s, 2000) // r.ROUND  # as coarse as the counter's own rounds
        age = rounds * r.ROUND if rounds < r.AGE_TOP // r.ROUND else r.AGE_TOP
        expected = other.tick(Inputs(bodies[1].counts, bodies[1].home_mark, 0, line, age=age))
        state = rig.program.core.state
        assert (state[t.DUTY_OUT], state[t.BRIDGE_OUT]) == (expected.duty, expected.driven)
        a, b = rig.levels()
        share = (a - b) / PERIOD
        assert share == pytest.approx(expected.duty / 10_000, abs=1 / PERIOD)
        drives = [(expected.duty / 10_000, expected.driven)] * 2
    assert bodies[0].counts != 0


def test_the_slots_that_machine_code_names_anew_are_the_ticks() -> None:
    for name in ("COUNT_IN", "HOME_IN", "ILLEGAL_IN", "AGE_IN", "DUTY_OUT", "BRIDGE_OUT"):
        assert getattr(r, name) == getattr(t, name)


def test_the_pulse_is_measured_beside_the_processor_and_taken_by_the_main_loop(
    tmp_path: Any, chip: Chip, module: Any
) -> None:
    rig = wired(tmp_path, chip, module, pulse__enabled=True)
    made = [entry for entry in chip.log if entry[0] == "StateMachine"]
    assert [entry[1] for entry in made] == [0, 5, 6, 4], "the counter has its block for itself"
    assert made[3][-1]["freq"] == 32_000_000
    assert ("Pin", 9, 0, 3, {}) in chip.log, "a loose wire is pulled low"
    for _ in range(10):
        chip.widths.append(1500 * 16)
        rig.tick()
        rig.program.turn()
    assert rig.program.core.lead.pulse.us() == 1500


def test_without_a_pulse_in_the_sheet_its_pin_is_left_alone(tmp_path: Any, chip: Chip, module: Any) -> None:
    wired(tmp_path, chip, module)
    assert [entry[1] for entry in chip.log if entry[0] == "StateMachine"] == [0, 5, 6]


def test_the_display_is_drawn_from_the_main_loop_on_the_bus_of_its_pins(tmp_path: Any, chip: Chip, module: Any) -> None:
    rig = wired(tmp_path, chip, module, display__kind="ssd1306")
    made = next(entry for entry in chip.log if entry[0] == "I2C")
    assert made[1] == 0, "20 and 21 are pins of the first bus"
    for _ in range(50):
        rig.tick()
        rig.program.turn()
    assert next(entry for entry in chip.log if entry[0] == "I2C.writeto")[2] == 0x3C
    assert "FrameBuffer.text" in chip.names()


def test_a_board_that_is_put_to_rest_says_yes_leaves_a_mark_and_starts_anew(
    tmp_path: Any, chip: Chip, module: Any
) -> None:
    rig = wired(tmp_path, chip, module)
    with pytest.raises(Restarted):
        talk(rig, f"hello 0badcafe {PROTOCOL}", "maintain")
    assert (tmp_path / "maintain").exists()
    assert b"2 ok" in chip.sent


@pytest.mark.parametrize("greeted", [True, False])
def test_new_files_prove_themselves_by_a_greeting_or_start_anew(
    tmp_path: Any, chip: Chip, module: Any, greeted: bool
) -> None:
    (tmp_path / "tried").touch()
    rig = wired(tmp_path, chip, module)
    if greeted:
        talk(rig, f"hello 0badcafe {PROTOCOL}")
        assert not (tmp_path / "tried").exists()
    rig.program.core._clock = module.TRIAL_US
    rig.tick()
    if greeted:
        rig.program.turn()
    else:
        rig.program.core.state[t.NOW] = module.TRIAL_US % 2**30 + 4000
        with pytest.raises(Restarted):
            rig.program.turn()


def test_only_the_board_file_knows_the_chips_modules() -> None:
    """`machine`, `rp2` and `framebuf` in the board file alone; `micropython` there, and through `compat` elsewhere."""
    for path in sorted(FIRMWARE.glob("*.py")):
        tree = ast.parse(path.read_text())
        named = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
        named |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and not node.level}
        allowed = {"board.py": set(MODULES), "compat.py": {"micropython"}}.get(path.name, set())
        assert named & set(MODULES) <= allowed, path.name
