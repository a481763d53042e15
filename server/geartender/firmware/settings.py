"""The settings that the host gives: names, ranges, the slots they go to, and the checks across them."""

from binascii import crc32

from . import tick as t

# What the tick works with: (name, lowest, highest), in the order of the slots from tick.SET on
TABLE = (
    ("polarity", -1, 1),
    ("nominal_mv", 1000, 60000),
    ("max_duty", 500, 10000),
    ("slew_mv", 10, 60000),
    ("drop_mv", 10, 60000),
    ("speed_shift", 0, 16),
    ("accel_shift", 0, 16),
    ("kp_num", 0, 4095),
    ("kp_shift", 0, 24),
    ("ki_num", 0, 4095),
    ("ki_shift", 0, 24),
    ("ke_num", 0, 4095),
    ("ke_shift", 0, 24),
    ("ka_num", 0, 4095),
    ("ka_shift", 0, 24),
    ("rest_deadband", 0, 255),
    ("ri_num", 1, 4095),
    ("ri_shift", 0, 24),
    ("kj_num", 0, 4095),
    ("kj_shift", 0, 24),
    ("friction_ma", 0, 30000),
    ("ramp_accel", 1, 1000000000),
    ("ramp_jerk", 1, 1000000000),
    ("stop_accel", 1, 1000000000),
    ("stop_jerk", 1, 1000000000),
    ("max_speed", 1, 1000000000),
    ("overload_ma", 1, 30000),
    ("overload_ms", 2, 10000),
    ("overload_ease", 0, 1),
    ("stall_ma", 1, 30000),
    ("stall_ms", 20, 10000),
    ("following_counts", 2, 100000),
    ("wrong_way_counts", 2, 10000),
    ("illegal_max", 1, 10000),
    ("audit_counts", 1, 10000),
    ("supply_low_mv", 0, 60000),
    ("winding_max", 300, 3000),
    ("heat_num", 0, 1000000),
    ("heat_tau_s", 1, 100000),
    ("ambient", -400, 800),
    ("endless", 0, 1),
    ("travel_low", -500000000, 500000000),
    ("travel_high", -500000000, 500000000),
    ("travel_margin", 0, 1000000),
    ("home_way", -1, 1),
    ("home_fast", 1, 1000000000),
    ("home_slow", 1, 1000000000),
    ("home_back", 1, 1000000),
    ("home_span", 1, 500000000),
    ("home_drop_mv", 10, 60000),
    ("rest_mode", 0, 2),
    ("silence_ms", 50, 2000),
    ("jog_ms", 50, 1000),
    ("settle_ms", 20, 10000),
    ("turn_counts", 0, 400000000),
    ("damping", 0, 2048),
    ("gain_num", 1, 4095),
    ("gain_shift", 0, 24),
    ("watch_num", 1, 4095),
    ("watch_shift", 0, 24),
    ("kl_num", 0, 4095),
    ("kl_shift", 0, 24),
    ("back_num", 256, 4095),
    ("ohm_num", 1, 4095),
    ("ohm_shift", 0, 24),
    ("jam_speed", 1, 4194303),
    ("blow_num", 0, 4095),
    ("blow_shift", 0, 24),
    ("disc_edges", 0, 64),
)

NO_PIN = 30  # stands for a pin that is not used
# What the board is wired to; taken at its start
HARDWARE = (
    ("pin_disc", 0, 28),
    ("pin_home", 0, 29),
    ("home_level", 0, 1),
    ("bridge_inputs", 0, 1),
    ("pin_pwm_a", 0, 29),
    ("pin_pwm_b", 0, 29),
    ("pin_enable", 0, NO_PIN),
    ("pwm_hz", 50, 100000),
    ("pin_supply", 0, NO_PIN),
    ("supply_ratio", 1000, 100000),
    ("pin_tx", 0, NO_PIN),
    ("pin_rx", 0, NO_PIN),
    ("pin_pulse", 0, NO_PIN),
    ("display_kind", 0, 1),
    ("pin_sda", 0, NO_PIN),
    ("pin_scl", 0, NO_PIN),
    ("display_width", 32, 256),
    ("display_height", 16, 128),
    ("display_address", 8, 119),
)
# What the pulse asks for, and how it is followed
PULSE = (
    ("pulse_enabled", 0, 1),
    ("pulse_min_us", 200, 3000),
    ("pulse_mid_us", 200, 3000),
    ("pulse_max_us", 200, 3000),
    ("pulse_from", -500000000, 500000000),
    ("pulse_to", -500000000, 500000000),
    ("pulse_lost_ms", 20, 60000),
    ("pulse_hold", 0, 1),
    ("pulse_home", 0, 1),
    ("follow_shift", 0, 16),
    ("follow_speed", 1, 500000000),
    ("follow_accel", 1, 250000000),
    ("follow_span", 1, 1000),
)
# What the display makes an angle of
ANGLE = (
    ("ndeg_per_count", 1, 100000000000),
    ("home_mdeg", -1000000000, 1000000000),
)
ALL = TABLE + HARDWARE + PULSE + ANGLE

RAMP_PRODUCT = 1 << 30  # accel² / jerk: what the ramp's product of acceleration and ticks may reach in 32 bits

_SLOTS = {}
for _i in range(len(ALL)):
    _SLOTS[ALL[_i][0]] = _i


class Settings:
    """The settings held; those of the tick are written into the slots of its state."""

    def __init__(self, state):
        self._state = state
        self._held = {}
        self.version = 0  # changes with every change

    def store(self, fields):
        """Store `name=value` fields, all or none; give None, or (reason, detail) of a refusal."""
        wanted = {}
        for field in fields:
            name, _, text = field.partition("=")
            if name not in _SLOTS:
                return ("range", name)
            try:
                value = int(text)
            except ValueError:
                return ("fields", name)
            row = ALL[_SLOTS[name]]
            if value < row[1] or value > row[2] or (value == 0 and row[1] == -1):
                return ("range", name)
            wanted[name] = value
        for pair in ("ramp", "stop"):
            accel = wanted.get(pair + "_accel", self._held.get(pair + "_accel", 1))
            jerk = wanted.get(pair + "_jerk", self._held.get(pair + "_jerk", accel))
            if accel * accel // jerk >= RAMP_PRODUCT:
                return ("range", pair + "_jerk")
        self.version += 1
        for name, value in wanted.items():
            self._held[name] = value
            if _SLOTS[name] < len(TABLE):
                self._state[t.SET + _SLOTS[name]] = value
        return None

    def holds(self, name):
        """Tell whether a setting is held."""
        return name in self._held

    def get(self, name):
        """Give the value of a setting that is held."""
        return self._held[name]

    def text(self):
        """Give all settings held as `name=value`, parted by single spaces, in the order of the tables."""
        return " ".join(["%s=%d" % (row[0], self._held[row[0]]) for row in ALL if row[0] in self._held])

    def missing(self):
        """Give the names of the settings that are not held yet."""
        return [row[0] for row in ALL if row[0] not in self._held]

    def digest(self):
        """Give eight hex digits over all settings held."""
        return "%08x" % (crc32(self.text().encode()) & 0xFFFFFFFF)
