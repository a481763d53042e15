import pytest

from geartender.access.cookies import Cookie

COOKIE = Cookie(8350)


def test_over_plain_http_it_keeps_to_the_path_of_the_service() -> None:
    given = COOKIE.given("gt_abc", secure=False, root_path="/vent")
    assert given == "geartender-8350=gt_abc; Max-Age=34560000; Path=/vent; HttpOnly; SameSite=Strict"


def test_over_tls_it_belongs_to_this_host_alone() -> None:
    given = COOKIE.given("gt_abc", secure=True, root_path="/vent")
    assert given == "__Host-geartender-8350=gt_abc; Max-Age=34560000; Path=/; HttpOnly; SameSite=Strict; Secure"


def test_it_is_taken_back_where_it_was_given() -> None:
    assert (
        COOKIE.taken_back(secure=False, root_path="")
        == "geartender-8350=; Max-Age=0; Path=/; HttpOnly; SameSite=Strict"
    )


@pytest.mark.parametrize(
    ("field", "found"),
    [
        ("geartender-8350=gt_abc", "gt_abc"),
        ("a=b; geartender-8350=gt_abc;c", "gt_abc"),
        ("geartender-8351=gt_abc", None),
        ("__Host-geartender-8350=gt_abc", None),
        ("xgeartender-8350=gt_abc", None),
        ("geartender-8350=", None),
        ("geartender-8350=" + "x" * 200, None),
        ("", None),
        (";;;=;", None),
    ],
)
def test_it_is_read_by_its_own_name_alone(field: str, found: str | None) -> None:
    assert COOKIE.read(field, secure=False) == found


def test_a_cookie_of_plain_http_does_not_count_over_tls() -> None:
    assert COOKIE.read("geartender-8350=gt_abc", secure=True) is None
    assert COOKIE.read("__Host-geartender-8350=gt_abc", secure=True) == "gt_abc"
