"""RFC 9110 sections 8.8.3.2, 13.1.1 and 13.1.2."""

import pytest

from geartender.api.preconditions import entity_tag, strongly_matches, weakly_matches


# The comparison table of RFC 9110 section 8.8.3.2; ours is always the strong tag "1".
@pytest.mark.parametrize(
    ("field", "strong", "weak"),
    [
        ('W/"1"', False, True),
        ('W/"2"', False, False),
        ('"1"', True, True),
        ('"2"', False, False),
        ('"2", "1"', True, True),
    ],
)
def test_the_comparison_table(field: str, strong: bool, weak: bool) -> None:
    assert strongly_matches(field, '"1"') is strong
    assert weakly_matches(field, '"1"') is weak


@pytest.mark.parametrize("field", ["*", " * "])
def test_a_star_matches_what_exists(field: str) -> None:
    assert strongly_matches(field, '"1"')
    assert weakly_matches(field, '"1"')


@pytest.mark.parametrize("field", ["", "1", 'w/"1"', '"1', '"2" "1"', 'x"1"'])
def test_what_is_no_tag_matches_nothing(field: str) -> None:
    assert not strongly_matches(field, '"1"')
    assert not weakly_matches(field, '"1"')


def test_a_comma_inside_a_tag_does_not_split_it() -> None:
    assert strongly_matches('"a,b"', '"a,b"')
    assert not strongly_matches('"a,b"', '"a"')


def test_tags_differ_with_the_document() -> None:
    assert entity_tag("a") == entity_tag("a") != entity_tag("b")
