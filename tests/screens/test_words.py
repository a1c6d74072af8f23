"""Numbers read aloud the way a maker says them, each with its unit."""

import math

import pytest

from analysis.screens import words


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (4.25, "4.2 s"),
        (42.4, "42 s"),
        (59.6, "1 min"),
        (185, "3 min 05 s"),
        (7800, "2 h 10 min"),
        (3599.9, "1 h"),
        (-65, "-1 min 05 s"),
        (None, words.NOT_KNOWN),
        (math.nan, words.NOT_KNOWN),
        (math.inf, words.NOT_KNOWN),
    ],
)
def test_durations_carry_units_and_never_read_sixty_seconds(seconds, said):
    assert words.duration(seconds) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (17.38, 21.12, "17 to 21"),
        (0.912, 0.944, "0.91 to 0.94"),
        (5.0, 5.0, "5"),
        (None, 3, words.NOT_KNOWN),
    ],
)
def test_a_range_claims_no_more_digits_than_its_width_bears(low, high, said):
    assert words.number_range(low, high) == said


def test_money_and_shares_read_as_a_maker_writes_them():
    assert words.money(4.2, "USD") == "4.20 USD"
    assert words.money_range(1200.4, 1650.7, "USD") == "1,200 to 1,651 USD"
    assert words.share(0.97) == "97.0 %"
    assert words.share(0.42) == "42 %"
    assert words.share_range(0.938, 0.981) == "94 to 98 %"
    assert words.count(1, "piece") == "1 piece"
    assert words.count(1250, "batch", "batches") == "1,250 batches"
    assert words.hours(31.4) == "31 hours"
    assert words.hours(1.0) == "1 hour"


@pytest.mark.parametrize(
    ("number", "said"),
    [(123.4, "120"), (2.04, "2"), (0.0312, "0.031"), (99.6, "100"), (1234567, "1,200,000"),
     (0, "0"), (-2.44, "-2.4"), (4e-9, "0.000000004"), (None, words.NOT_KNOWN)],
)  # fmt: skip
def test_no_figure_is_ever_written_as_a_power_of_ten(number, said):
    assert words.figure(number) == said


def test_money_is_as_fine_as_its_range_bears():
    assert words.money_range(11.6423, 12.0871, "USD") == "11.60 to 12.10 USD"
    assert words.money_range(22.57, 24.32, "USD") == "22.60 to 24.30 USD"
    assert words.money_range(22.5, 24.6, "USD") == "22 to 25 USD"
    assert words.money_range(4.2, 4.2, "USD") == "4.20 USD"


def test_a_name_that_begins_with_a_number_begins_no_list():
    assert words.plain("1. box") == "1\\. box"
    assert words.plain("12.") == "12\\."
    assert words.plain("1.5 mm board, 2. choice") == "1.5 mm board, 2. choice"


def test_an_address_in_a_users_words_becomes_no_link():
    for text in ("http://example.invalid/a", "WWW.example.invalid", "a@example.invalid"):
        shown = words.plain(text).replace("\\", "")
        assert shown != text
        assert shown.replace("\u2060", "") == text


@pytest.mark.parametrize(
    "value, decimals, said", [(-0.3, 0, "0"), (-0.04, 1, "0.0"), (-0.6, 0, "-1"), (0.0, 2, "0.00")]
)
def test_nothing_has_no_minus_before_it(value, decimals, said):
    assert words.number(value, decimals) == said
