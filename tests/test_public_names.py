"""What `import geartender` offers, and that it costs nothing until it is used."""

import subprocess
import sys

import pytest

import geartender


@pytest.mark.parametrize("name", geartender.__all__)
def test_every_public_name_is_there(name: str) -> None:
    assert getattr(geartender, name).__name__ == name
    assert name in dir(geartender)


def test_a_name_that_is_not_public_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="nonsense"):
        geartender.nonsense  # noqa: B018


def test_importing_the_package_imports_nothing_else() -> None:
    code = (
        "import sys, geartender; print(*(name for name in sys.modules if name.startswith(('geartender', 'pydantic'))))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["geartender"]


def test_the_planner_needs_no_third_party_package() -> None:
    code = "import sys, geartender; geartender.plan; print('pydantic' in sys.modules, 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
