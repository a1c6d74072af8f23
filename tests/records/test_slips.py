"""Slips of the pen in names are asked about, and two names that are two things are left alone."""

import pytest

from analysis.records.laps import read_laps
from analysis.records.slips import nearly, same, slips

HEADER = "started_at,seconds,product,operation,worker\n"


def asked(counts: dict[str, int], column: str = "product") -> list[tuple[str, str]]:
    return [(slip.name, slip.usual) for slip in slips(column, counts, counts.__getitem__)]


def test_the_slips_of_a_maker_s_week_are_asked_about_with_their_laps():
    products = {"card walet": 1, "card wallet": 60, "zip pouch": 32}
    (slip,) = slips("product", products, products.__getitem__)
    assert str(slip) == "product card walet (1 lap): did you mean card wallet (60 laps)?"
    assert asked({"Glue": 1, "glue": 23, "sew": 31, "sewing": 1}) == [
        ("sewing", "sew"),
        ("Glue", "glue"),
    ]
    assert asked({"jo": 1, "Jo": 42, "me": 131}) == [("jo", "Jo")]
    assert asked({"edge  finish": 30, "edge finish": 40}) == [("edge  finish", "edge finish")]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("size 38", "size 40"),
        ("cover A", "cover B"),
        ("cut", "sew"),
        ("glue lid", "glue rim"),
        ("punch", "pack"),
        ("linen", "marbled"),
        ("cut boards", "cut"),
        ("me", "ma"),
        ("case", "casework"),
        ("book", "bookbinding"),
        ("card", "cardboard"),
        ("fold", "unfold"),
        ("bind", "rebind"),
        ("screw", "unscrew"),
        ("duck", "duckling"),
        ("cap", "cape"),
    ],
)
def test_two_names_that_are_two_things_are_not_taken_for_one(one, other):
    assert not same(one, other) and not nearly(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("walet", "wallet"),
        ("trim", "trimming"),
        ("sew", "sewing"),
        ("cut", "cutting"),
        ("glue", "gluing"),
        ("glue", "glueing"),
        ("gluing", "glueing"),
        ("glue", "glued"),
        ("box", "boxes"),
        ("boards", "board"),
        ("glue spine", "glue spne"),
    ],
)
def test_a_letter_or_an_ending_more_is_asked_about_either_way_round(one, other):
    assert nearly(one, other) and nearly(other, one)


def test_a_name_that_is_written_down_elsewhere_is_the_one_that_was_meant():
    counts = {"sew": 60, "sewing": 2, "Sew": 1}

    def found(*written: str) -> set[tuple[str, str]]:
        asked = slips("operation", counts, counts.__getitem__, written)
        return {(slip.name, slip.usual) for slip in asked}

    assert found() == {("sewing", "sew"), ("Sew", "sew")}
    assert ("sew", "sewing") in found("sewing") and ("sewing", "sew") not in found("sewing")
    assert found("sew", "sewing", "Sew") == set()


def test_names_alike_that_are_both_much_used_are_two_names():
    assert asked({"folder": 40, "folded": 30}) == []
    assert asked({"folder": 3, "folded": 2}) == []


def test_among_very_many_names_capitals_and_spaces_are_still_looked_at():
    many = {f"part {at}": 9 for at in range(2000)}
    assert asked(many | {"Part 7": 1, "part7x": 1}) == [("Part 7", "part 7")]


def test_a_file_with_slips_says_so_in_its_notices_and_keeps_every_name_as_it_is():
    rows = [f"2026-03-02T08:{at:02}:00,50,card wallet,glue,Jo\n" for at in range(20)]
    rows.append("2026-03-02T09:00:00,50,card walet,Glue,jo\n")
    read = read_laps((HEADER + "".join(rows)).encode())
    said = "\n".join(read.notices)
    assert "product card walet (1 lap): did you mean card wallet (20 laps)?" in said
    assert "operation Glue (1 lap): did you mean glue (20 laps)?" in said
    assert "worker jo (1 lap): did you mean Jo (20 laps)?" in said
    assert set(read.frame["product"]) == {"card wallet", "card walet"}


def test_a_file_of_names_that_are_told_apart_has_no_notice_of_them():
    rows = [f"2026-03-02T08:{at:02}:00,50,size {at},cut,Jo\n" for at in range(20)]
    assert not any(
        "did you mean" in said for said in read_laps((HEADER + "".join(rows)).encode()).notices
    )
