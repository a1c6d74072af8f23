"""The first minutes: three steps for whoever has no laps yet, until they put them away."""

from pathlib import Path

import streamlit as st

from analysis.screens import source

STEPS = (
    "**New here? Three steps.**\n"
    "1. **Look round.** The demo's figures show what yours will tell. The other screens stand in "
    "the list at the side (on a phone behind **»** at the top).\n"
    "2. **Put in your own.** Press **Start timing** and tap at the bench, or drop in a file of "
    "laps further down this page.\n"
    "3. **Set up your shop.** Choose *My workshop* at the side, then **Shop**: hours, people, "
    "prices. Without them there are times, but no money."
)


def show() -> None:
    """The steps and a button that puts them away for good; nothing once there are laps."""
    if source.own_store().lap_count() or _seen().exists():
        return
    st.info(STEPS)
    st.button("Got it, do not show this again", key="tour_seen", on_click=_put_away)


def _put_away() -> None:
    _seen().parent.mkdir(parents=True, exist_ok=True)
    _seen().touch()


def _seen() -> Path:
    """An empty file that says so, beside the demo: it belongs to no workshop's records."""
    return source.cache_folder() / "steps_seen"
