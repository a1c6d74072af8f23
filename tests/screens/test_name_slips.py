"""Questions about slips in names: asked of the store as it is, answered once, undone as one."""

import pytest

from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.shop import Product, Shop, Worker
from analysis.screens import source, up_to_date
from analysis.screens.source import OWN
from analysis.store.store import open_store
from tests.screens.driving import said

HEADER = "started_at,seconds,product,operation,worker,batch,activity,cause,cause_operation\n"
ROUTE = "product,operation,seconds\ncard wallet,sewing,300\n"


def laps(usual: int = 60, fault: str = "Sew", slip: str = "Sew") -> str:
    """Laps of `sew`, then one of a slip, and a trimming that lays its fault to an operation."""
    sewn = "".join(
        f"2026-11-02T{8 + at // 60:02}:{at % 60:02}:00,{300 + at},card wallet,sew,Jo,1,,,\n"
        for at in range(usual)
    )
    return (
        f"{HEADER}{sewn}2026-11-02T10:30:00,320,card wallet,{slip},Jo,1,,,\n"
        f"2026-11-02T10:40:00,90,card wallet,trim,Jo,1,rework,crooked,{fault}\n"
    )


def filled(own_store: str, text: str):
    store = open_store(own_store)
    store.import_laps(read_laps(text.encode(), name="slips.csv"))
    return store


def press(screen, label: str):
    next(button for button in screen.button if button.label == label).click()
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


@pytest.fixture
def large(own_store, monkeypatch):
    """A store of a few laps that counts as one too large to wait for."""
    monkeypatch.setattr(up_to_date, "MOST_WAITED_FOR", 0)
    return filled(own_store, laps())


def test_a_name_renamed_in_a_large_store_is_not_asked_about_while_its_figures_follow(show, large):
    screen = show("this_week", OWN)
    assert "did you mean **sew**" in said(screen)
    following = up_to_date.following(source.own_store().url)
    following._rest_until = float("inf")  # the new figures do not come
    screen = press(screen, "Rename to sew")
    assert "the new ones follow" in said(screen)
    assert "did you mean" not in said(screen) and "Renamed: Sew is sew now" in said(screen)
    screen = press(screen, "Undo that")
    assert "did you mean **sew**" in said(screen)
    assert large.names("operation") == ["Sew", "sew", "trim"]


def test_a_fault_stays_with_its_operation_when_that_is_renamed_and_comes_back_with_it(
    show, own_store
):
    store = filled(own_store, laps())
    screen = press(show("laps", OWN), "Rename to sew")
    assert set(store.laps().operation) == {"sew", "trim"}
    assert set(store.laps().cause_operation) == {"", "sew"}
    press(screen, "Undo that")
    assert set(store.laps().operation) == {"Sew", "sew", "trim"}
    assert set(store.laps().cause_operation) == {"", "Sew"}


def test_the_name_on_the_route_is_the_right_one_however_few_laps_it_has(show, own_store):
    store = filled(own_store, laps(slip="sewing", fault="sewing"))
    assert "Operation **sewing** (1 lap): did you mean **sew** (60 laps)?" in said(
        show("laps", OWN)
    )
    store.save_routing(read_routing(ROUTE.encode()))
    asked = said(show("laps", OWN))
    assert (
        "Operation **sew** (60 laps): did you mean **sewing** (1 lap, as in your shop or route)?"
        in asked
    )


@pytest.mark.parametrize("kind", ["shop", "shelf", "workers"])
def test_two_names_that_shop_and_shelf_both_know_are_not_asked_about(show, own_store, kind):
    text = laps(fault="sew", slip="sew") + "2026-11-02T11:00:00,99,card walet,sew,jo,1,,,\n"
    store = filled(own_store, text)
    assert said(show("laps", OWN)).count("did you mean") == 2
    if kind == "workers":
        store.save_shop(Shop(workers=(Worker("Jo"), Worker("jo"))))
    else:
        other = () if kind == "shelf" else (Product("card walet"),)
        store.save_shop(Shop(products=(Product("card wallet"), *other)))
    if kind == "shelf":
        store.add_stock_event("count", "card walet", 3)
    left = said(show("laps", OWN))
    assert left.count("did you mean") == 1
    assert ("Product **card walet**" if kind == "workers" else "Worker **jo**") in left


def test_two_names_are_two_for_good_also_when_the_other_has_more_laps(show, own_store):
    store = filled(own_store, laps(usual=2, fault="trim"))
    screen = press(show("laps", OWN), "No, two names")
    assert "did you mean" not in said(screen)
    more = "".join(f"2026-11-03T08:{at:02}:00,300,card wallet,Sew,Jo,1,,,\n" for at in range(30))
    store.import_laps(read_laps((HEADER + more).encode(), name="more.csv"))
    assert "did you mean" not in said(show("laps", OWN))


def test_an_answered_question_does_not_open_the_store_at_the_next_start(show, own_store):
    import streamlit as st

    filled(own_store, laps())
    press(show("this_week", OWN), "No, two names")
    st.cache_resource.clear()  # as a start does
    source._own_store.cache_clear()
    screen = show("this_week", OWN)
    assert "did you mean" not in said(screen) and "card wallet" in said(screen)
    assert source.own_store()._store is None
