"""What a reader has unfolded stays open when Streamlit draws the page anew in its places."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import running_app

# A page as the screens are made, whose figures change; what comes and goes has a place of its own.
PAGE = """
import streamlit as st
from analysis.screens import answers, glossary

drawn = st.session_state.setdefault("drawn", 0)
if st.button("Draw anew"):
    drawn = st.session_state["drawn"] = drawn + 1
st.header(f"Drawn {drawn}")
with st.container():
    for line in range(drawn):
        st.caption(f"line {line}")
glossary.beside("payback", "contribution")
st.html(f"<p>{drawn} figures</p>")
answers.worked_out("With formulas.")
st.stop()
"""


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    with running_app(tmp_path_factory.mktemp("terms"), before=PAGE) as address:
        yield address


def test_what_a_reader_unfolded_stays_so_when_other_figures_are_drawn(drawn, page):
    page.goto(drawn)
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for()
    page.locator("summary", has_text="payback").click()
    page.get_by_text("How this was worked out").click()
    expect(page.locator(".terms details[open] summary")).to_have_text(["payback"])
    expect(page.get_by_text("With formulas.")).to_be_visible()
    for time in (1, 2):
        page.get_by_role("button", name="Draw anew").click()
        expect(page.get_by_role("heading", name=f"Drawn {time}")).to_be_visible()
        expect(page.get_by_text(f"{time} figures")).to_be_visible()
        expect(page.locator("[data-stale='true']")).to_have_count(0)
        expect(page.locator(".terms details[open] summary")).to_have_text(["payback"])
        expect(page.get_by_text("With formulas.")).to_be_visible()
