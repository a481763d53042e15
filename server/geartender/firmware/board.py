"""The RP2040: its pins, counter, bridge, clock, watchdog and serial line. No other file knows `machine` and `rp2`.

Nothing here has run on a real board yet. Until the settings of a sheet are held, no pin is touched; from then on the bridge is off
before anything else is made.
"""

import os
import sys
from array import array
from binascii import hexlify

import machine
import micropython
import rp2
import utime

from . import registers as r
from . import tick as t
from .age import CLOCK_HZ as AGE_HZ
from .age import age
from .core import Core
from .counter import quadrature
from .display import Display
from .keeping import Keeper
from .memory import Memory
from .recorder import note
from .screen import Screen
from .settings import HARDWARE, NO_PIN
from .width import CLOCK_HZ, width

TICK_HZ = 500
TICK_US_MAX = 1500  # of the 2000 between two ticks
WATCHDOG_MS = (
    500  # the tick feeds it: five hundred milliseconds without one, and the chip starts anew with everything off
)
STUCK_TICKS = 5  # ticks without a word from the counter before the watchdog is left to bite
FIRST_OF_SECOND_BLOCK = 4  # state machines 0 to 3 are those of the counter's block
ADC_MV = 3300
ADC_TOP = 65535
BAUD = 115200
DISPLAY_HZ = 400000
DISPLAY_WAIT_US = 5000  # a bus that hangs holds the main loop up for no longer
RECEIVE_BYTES = 1024  # twice what the host may have under way
MAINTAIN = "maintain"  # files of these names tell main.py at the next start what to do
TRIED = "tried"
TRIAL_US = 20000000  # new files that no host has greeted by then have failed: a service looks for its board every 5 s

micropython.alloc_emergency_exception_buf(100)


class Bridge:
    """The H-bridge's inputs, off from the first moment."""

    def __init__(self, settings, wiring):
        self.enable = None
        if settings.get("pin_enable") != NO_PIN:
            self.enable = machine.Pin(settings.get("pin_enable"), machine.Pin.OUT, value=0)
            wiring[r.ENABLE] = 1 << settings.get("pin_enable")
        a, b = settings.get("pin_pwm_a"), settings.get("pin_pwm_b")
        wiring[r.DIRECTION] = settings.get("bridge_inputs")
        self.pwms = [machine.PWM(machine.Pin(a), freq=settings.get("pwm_hz"), duty_u16=0)]
        self.plain = None
        if wiring[r.DIRECTION]:
            self.plain = machine.Pin(b, machine.Pin.OUT, value=0)
            wiring[r.MASK_B] = 1 << b
        else:
            self.pwms.append(machine.PWM(machine.Pin(b), freq=settings.get("pwm_hz"), duty_u16=0))
        wiring[r.SHIFT_A], wiring[r.SHIFT_B] = 16 * (a & 1), 16 * (b & 1)
        self.slice_a, self.slice_b = _compare(a), _compare(b)
        wiring[r.FULL] = machine.mem32[self.slice_a + 4] + 1  # the period stands behind the compare register

    def off(self):
        """Take drive away, whatever state the rest is in."""
        if self.enable is not None:
            self.enable.value(0)
        for pwm in self.pwms:
            pwm.duty_u16(0)


def _compare(pin):
    """Give the address of the compare register of a pin's PWM slice."""
    return r.PWM + r.PWM_SLICE_BYTES * ((pin >> 1) & 7) + r.PWM_CC_BYTES


class Chip:
    """Everything that a sheet wires to the chip, and the tick that runs on it."""

    def __init__(self, core):
        settings = core.settings
        self.core = core
        self.wiring = array("i", [0] * r.WIRING_WORDS)
        self.bridge = Bridge(settings, self.wiring)
        self.wiring[r.HOME_PIN] = settings.get("pin_home")
        self.wiring[r.HOME_LEVEL] = settings.get("home_level")
        machine.Pin(settings.get("pin_home"), machine.Pin.IN, machine.Pin.PULL_UP)
        self.pio, self.pio_1, self.sio = r.PIO0, r.PIO1, r.SIO
        self.counter = _counter(settings.get("pin_disc"))
        self.ages = [_age(sensor, settings.get("pin_disc") + sensor) for sensor in range(r.AGES)]
        self.receiver = None
        if settings.get("pin_pulse") != NO_PIN:
            self.receiver = _receiver(settings.get("pin_pulse"))
        self.adc = None
        if settings.get("pin_supply") != NO_PIN:
            self.adc = machine.ADC(settings.get("pin_supply"))
        self.watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self.error = None
        self.pin_disc = settings.get("pin_disc")
        core.look = self.look
        self.timer = machine.Timer()
        self.timer.init(freq=TICK_HZ, mode=machine.Timer.PERIODIC, callback=self.tick, hard=True)

    def tick(self, _):
        """Do one tick, in the timer's interrupt; feed the watchdog only when all of it went well."""
        state = self.core.state
        began = utime.ticks_us()
        try:
            r.take(state, self.wiring, self.pio, self.sio)
            r.take_age(state, self.pio_1)
            t.tick(state, self.core.queue)
            r.give(state, self.wiring, self.bridge.slice_a, self.bridge.slice_b, self.sio)
            note(state, self.core.log)
        except Exception as error:
            self.bridge.off()
            self.error = error
            return
        if utime.ticks_diff(utime.ticks_us(), began) > TICK_US_MAX:
            state[t.OVERRAN_IN] = (state[t.OVERRAN_IN] + 1) & t.MASK
        if self.wiring[r.STUCK] < STUCK_TICKS:
            self.watchdog.feed()

    def look(self):
        """Read the pins of the sensors: bit 0 and 1 the disc's, 2 the home's, as they are."""
        pins = machine.mem32[r.SIO + 4 * r.SIO_IN]
        return (pins >> self.pin_disc) & 3 | ((pins >> self.wiring[r.HOME_PIN]) & 1) << 2

    def measure(self):
        """Read the pulses and the supply, which the tick need not wait for."""
        while self.receiver is not None and self.receiver.rx_fifo():
            self.core.lead.take(self.receiver.get())
        if self.adc is not None:
            pin_mv = self.adc.read_u16() * ADC_MV // ADC_TOP
            self.core.state[t.SUPPLY_IN] = pin_mv * self.core.settings.get("supply_ratio") // 1000
        if self.error is not None:
            raise self.error

    def close(self):
        """End the tick with the bridge off."""
        self.timer.deinit()
        self.bridge.off()


def _counter(pin):
    """Start the counting program on the two pins from this one."""
    first = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
    machine.Pin(pin + 1, machine.Pin.IN, machine.Pin.PULL_UP)
    program = rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT)(quadrature)
    counter = rp2.StateMachine(0, program, in_base=first)
    counter.exec("mov(x, invert(null))")
    counter.exec("mov(y, null)")
    counter.exec("mov(osr, pins)")
    counter.active(1)
    return counter


def _age(sensor, pin):
    """Start the timing program on the pin of a sensor, behind the first machine of the second block."""
    program = rp2.asm_pio()(age)
    timer = rp2.StateMachine(FIRST_OF_SECOND_BLOCK + 1 + sensor, program, freq=AGE_HZ, jmp_pin=machine.Pin(pin))
    timer.active(1)
    return timer


def _receiver(pin):
    """Start the measuring program on a pin, in the second block, where the counter leaves it room."""
    where = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_DOWN)
    program = rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX)(width)
    receiver = rp2.StateMachine(FIRST_OF_SECOND_BLOCK, program, freq=CLOCK_HZ, in_base=where, jmp_pin=where)
    receiver.active(1)
    return receiver


class Panel:
    """The display of a sheet that has one: a turn draws a part or sends a slice, so that none takes more than a few ms."""

    def __init__(self, core):
        settings = core.settings
        import framebuf

        sda, scl = machine.Pin(settings.get("pin_sda")), machine.Pin(settings.get("pin_scl"))
        unit = (settings.get("pin_sda") >> 1) & 1  # the chip's pins take turns in pairs
        bus = machine.I2C(unit, sda=sda, scl=scl, freq=DISPLAY_HZ, timeout=DISPLAY_WAIT_US)
        width, height = settings.get("display_width"), settings.get("display_height")
        self._core = core
        self._display = Display(bus, settings.get("display_address"), width, height)
        frame = framebuf.FrameBuffer(self._display.picture, width, height, framebuf.MONO_VLSB)
        self._screen = Screen(core, frame, width, height)

    def turn(self):
        """Do one turn of the main loop."""
        now = self._core.clock()
        if not self._display.send(now):
            self._screen.draw(now)


class Bare:
    """A chip that nothing is wired to yet: time goes on, and the host can give the settings."""

    def __init__(self, core):
        self.core = core
        self.timer = machine.Timer()
        self.timer.init(freq=TICK_HZ, mode=machine.Timer.PERIODIC, callback=self.tick, hard=True)

    def tick(self, _):
        """Do one tick on no inputs; without settings nothing can be armed."""
        t.tick(self.core.state, self.core.queue)

    def measure(self):
        """Nothing is there to be measured."""

    def close(self):
        """End the tick."""
        self.timer.deinit()


class UsbLine:
    """The serial line that the chip shows on USB."""

    def __init__(self):
        import select

        micropython.kbd_intr(-1)  # a byte 3 from a noisy line must not end the program
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)

    def read(self):
        """Give the bytes that wait, without waiting."""
        data = b""
        while len(data) < RECEIVE_BYTES and self._poll.poll(0):
            data += sys.stdin.buffer.read(1)
        return data

    def write(self, data):
        """Send bytes."""
        sys.stdout.buffer.write(data)


class UartLine:
    """A serial line on two pins."""

    def __init__(self, tx, rx):
        unit = (tx >> 3 ^ tx >> 2) & 1  # the chip's pins take turns in fours: 0, 1, 1, 0
        self._uart = machine.UART(unit, BAUD, tx=machine.Pin(tx), rx=machine.Pin(rx), rxbuf=RECEIVE_BYTES)

    def read(self):
        """Give the bytes that wait, without waiting."""
        return self._uart.read(RECEIVE_BYTES) if self._uart.any() else b""

    def write(self, data):
        """Send bytes."""
        self._uart.write(data)


def line_of(settings):
    """Give the line to the host: the sheet's two pins where it names them, else USB."""
    if "pin_tx" in settings.missing() or settings.get("pin_tx") == NO_PIN:
        return UsbLine()
    return UartLine(settings.get("pin_tx"), settings.get("pin_rx"))


class Program:
    """The main loop: lines, what is kept over a loss of power, and the chip once its wiring is known."""

    def __init__(self, folder=""):
        self.core = Core(_hex(machine.unique_id()), _hex(os.urandom(4)))
        memory = Memory(folder)
        self.keeper = Keeper(self.core, memory.text, memory.keep)
        whole = not self.core.settings.missing()
        self.chip = Chip(self.core) if whole else Bare(self.core)
        self.panel = Panel(self.core) if whole and self.core.settings.get("display_kind") else None
        self.line = line_of(self.core.settings)
        self._wired = self._hardware() if whole else None
        self._folder = folder
        self._on_trial = TRIED in os.listdir(folder or "/")
        self.core.can_rest = True

    def turn(self):
        """Do one turn of the main loop."""
        self.chip.measure()
        data = self.line.read()
        if data:
            self.core.receive(data)
        sent = self.core.step()
        if sent:
            self.line.write(sent)
        if self.panel is not None:
            self.panel.turn()
        if self.core.to_rest:
            with open(self._folder + "/" + MAINTAIN, "w"):
                pass
            self._restart()
        if self._on_trial:
            self._try()
        if self.keeper.step() and self._hardware() != self._wired:  # new wiring is taken at a start
            self._restart()

    def _try(self):
        """New files have proved themselves once a host has greeted; one that is awaited in vain ends the trial."""
        if self.core.conversing() and self.core.state[t.MODE] == t.OFF:
            os.remove(self._folder + "/" + TRIED)
            self._on_trial = False
        elif not self.core.conversing() and self.core.clock() > TRIAL_US:
            self._restart()

    def _restart(self):
        self.close()
        machine.reset()

    def _hardware(self):
        return [self.core.settings.get(row[0]) for row in HARDWARE]

    def close(self):
        """End with the bridge off."""
        self.chip.close()


def _hex(data):
    return hexlify(data).decode()


def main():
    """Run for ever; whatever ends it, the bridge is off and the chip starts anew."""
    program = Program(os.getcwd().rstrip("/"))
    try:
        while True:
            program.turn()
    finally:
        program.close()
        machine.reset()
