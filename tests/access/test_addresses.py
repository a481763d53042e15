import pytest

from geartender.access import is_loopback, own_addresses


@pytest.mark.parametrize("host", ["127.0.0.1:8350", "localhost:8350", "LOCALHOST:8350", "[::1]:8350"])
def test_our_own_names_with_our_port_are_ours(host: str) -> None:
    assert own_addresses("127.0.0.1", 8350).host_is_ours(host)


@pytest.mark.parametrize(
    "host",
    [
        None,
        "",
        "127.0.0.1",
        "localhost",
        "localhost:80",
        "localhost:8351",
        "evil.example:8350",
        "localhost.evil.example:8350",
    ],
)
def test_other_names_and_ports_are_not(host: str | None) -> None:
    assert not own_addresses("127.0.0.1", 8350).host_is_ours(host)


def test_the_port_of_the_scheme_may_be_left_out() -> None:
    ours = own_addresses("127.0.0.1", 80)
    assert ours.host_is_ours("localhost")
    assert ours.host_is_ours("localhost:80")
    assert ours.origin_is_ours("http://localhost", "localhost:80")
    assert not ours.origin_is_ours("http://localhost:80", "localhost")  # no browser sends it so (RFC 6454 section 6.2)


@pytest.mark.parametrize(
    ("origin", "ours"),
    [
        (None, True),
        ("http://localhost:8350", True),
        ("https://localhost:8350", False),
        ("http://localhost", False),
        ("http://localhost:8351", False),
        ("http://127.0.0.1:8350", False),  # another of our names, but not the one this page was opened by
        ("http://evil.example", False),
        ("null", False),
        ("", False),
    ],
)
def test_only_the_page_of_the_same_address_is_ours(origin: str | None, ours: bool) -> None:
    assert own_addresses("127.0.0.1", 8350).origin_is_ours(origin, "localhost:8350") is ours


def test_further_names_are_exact() -> None:
    ours = own_addresses("127.0.0.1", 8350, ["vent.local", "shed.local:8080", "https://vent.example"])
    for host, origin in [
        ("vent.local", "http://vent.local"),
        ("vent.local:8350", "http://vent.local:8350"),
        ("shed.local:8080", "http://shed.local:8080"),
        ("vent.example", "https://vent.example"),
        ("vent.example:443", "https://vent.example"),
    ]:
        assert ours.host_is_ours(host), host
        assert ours.origin_is_ours(origin, host), origin
    for host in ("shed.local", "shed.local:8350", "vent.local:8080", "vent.example:8350"):
        assert not ours.host_is_ours(host), host
    assert not ours.origin_is_ours("http://vent.example", "vent.example")


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("[::1]", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.168.1.2", False),
        ("vent.local", False),
        ("localhost.example", False),
        ("", False),
    ],
)
def test_what_is_reached_from_this_machine_alone(host: str, loopback: bool) -> None:
    assert is_loopback(host) is loopback
