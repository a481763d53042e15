import pytest

from geartender.cli.wording import label_and_unit, shown


@pytest.mark.parametrize(
    ("field", "label", "unit"),
    [
        ("output_stall_torque_nm", "Stall torque", "N·m"),
        ("no_load_output_deg_s", "No-load speed", "°/s"),
        ("accel_deg_s2", "Acceleration", "°/s²"),
        ("count_rate_hz", "Count rate", "Hz"),
        ("gear_ratio", "Gear ratio", ""),
        ("self_locking", "Self locking", ""),
        ("backlash_deg", "Backlash", "°"),
        ("root_stress_mpa", "Root stress at a stall", "MPa"),
    ],
)
def test_names_become_labels_and_units(field: str, label: str, unit: str) -> None:
    assert label_and_unit(field) == (label, unit)


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (True, "yes"), (False, "no"), (1.23456, "1.235"), (123456.7, "123457"), (48, "48")]
)
def test_values_have_the_digits_that_mean_something(value: object, text: str) -> None:
    assert shown(value) == text
