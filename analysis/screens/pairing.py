"""Phones: how they come in, the code that pairs one, the devices paired, what they reported.

The last part of the Laps screen. Laps from phones go to one's own workshop, whichever is shown.
"""

from __future__ import annotations

import time
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import segno
import streamlit as st

from analysis.bench.address import own_addresses, pairing_link
from analysis.bench.service import OPEN_SWITCH, is_open
from analysis.screens import saves, source, words
from analysis.store.bench_devices import CODE_LASTS, Devices
from analysis.store.bench_notes import notes

if TYPE_CHECKING:
    from analysis.store.glance import Unopened

LOOPBACK = ("127.0.0.1", "localhost", "::1")
RUN_OPEN = "streamlit run app.py --server.address 0.0.0.0"
HOW_TO_OPEN = f"{OPEN_SWITCH}=1 {RUN_OPEN}"
ON_THIS_SYSTEM = {
    "Mac or Linux": f"{OPEN_SWITCH}=1 .venv/bin/{RUN_OPEN}",
    "Windows": f'$env:{OPEN_SWITCH}="1"; .venv\\Scripts\\{RUN_OPEN}',
}
OPEN_STEPS = """
1. Find the window in which you started this program: the one with lines of text, called Terminal,
   or PowerShell on Windows.
2. Click into it, hold the **Ctrl** key and press **C**. The program stops; your laps are kept.
3. Copy the line below for your computer, paste it into that window, and press **Enter**.
4. If the computer asks whether the program may be reached from your network, allow it for your own
   (private) network only.
5. Come back to this page and load it again; here then stands a button *Pair a phone*.
"""
FLAG_WORDS = {
    "reload": "the page was loaded anew during the lap",
    "sleep": "the phone slept during the lap",
    "clock_changed": "the phone's clock was changed during the lap",
    "from_memory": "added from memory",
    "away_split": "time away was split off as an interruption",
    "fixed_here": "put right on the spot",
    "mended": "a forgotten switch, mended",
    "mixed": "a mixed stack tapped as one",
    "joined": "several operations tapped as one",
    "split": "split off from several operations tapped as one",
}


def show() -> None:
    """How a phone gets to the bench page, who is paired, and what phones reported."""
    store = source.own_store()
    devices = Devices(store.engine)
    st.subheader("Phones at the bench")
    st.markdown(_where_laps_go())
    st.link_button(f"Start timing for {source.OWN}", "/bench", icon=":material/timer:")
    if is_open():
        _pair_one(devices)
    else:
        _how_to_open()
    _devices(devices, store.shop().timezone)
    _reports(store)


def _how_to_open() -> None:
    st.markdown(
        "**Phones cannot come in yet**: this program answers only the computer it runs on. To let "
        "paired phones of your own network in, stop it and start it in another way, once:"
    )
    st.markdown(OPEN_STEPS)
    for system, command in ON_THIS_SYSTEM.items():
        st.markdown(f"**{system}**")
        st.code(command, language=None, wrap_lines=True)
    st.caption(
        f"On Windows write it into PowerShell, not the older Command Prompt. If you start the "
        f"program without `.venv`, the line is `{HOW_TO_OPEN}`."
    )


def _where_laps_go() -> str:
    """Whose laps those from the bench are, whichever workshop is on screen."""
    line = f"Laps timed here or on a phone go to **{source.OWN}**."
    if source.chosen() != source.DEMO:
        return line
    return f"{line} You are looking at the **{source.DEMO}**, which stays as it is."


def _pair_one(devices: Devices) -> None:
    """A button that shows a code, and the code while it is good."""
    if (st.get_option("server.address") or "") in LOOPBACK:
        st.warning("Phones may come in when paired, but the server listens on this computer only; "
                   f"start it with `{HOW_TO_OPEN}`.")  # fmt: skip
    if st.button("Pair a phone", icon=":material/qr_code_2:", type="primary"):
        paired = [device.id for device in devices.all()]
        st.session_state["pairing"] = (devices.new_code(_now()), _now() + CODE_LASTS, paired)
    if "pairing" in st.session_state:
        _code_while_good(devices)


@st.fragment(run_every=2)
def _code_while_good(devices: Devices) -> None:
    """The code until it is used or too old; looks for the new device by itself."""
    if "pairing" not in st.session_state:
        return
    code, ends_at, paired_before = st.session_state["pairing"]
    new = [device for device in devices.all() if device.id not in paired_before]
    if new:
        del st.session_state["pairing"]
        st.success(f"Paired: {words.plain(new[0].name)}.")
        st.rerun()
    if _now() >= ends_at:
        st.caption("That code is no longer good. Show a new one.")
        return
    _code(code, ends_at)


def _code(code: str, ends_at: int) -> None:
    addresses = own_addresses()
    if not addresses:
        st.warning("This computer has no address in a network; connect it to the workshop's.")
        return
    address = addresses[0]
    if len(addresses) > 1:
        address = st.selectbox("This computer's address in the workshop's network", addresses)
    scheme = "https" if st.get_option("server.sslCertFile") else "http"
    link = pairing_link(scheme, address, st.get_option("server.port"), code)
    minutes = max(1, round((ends_at - _now()) / 60e6))
    picture = segno.make(link, error="m").svg_inline(scale=6, light="#fff", title="Pairing code")
    st.image(picture, width=300)
    st.markdown(
        "Point the phone's camera at it, both in the same network. It pairs one phone, within "
        f"{words.count(minutes, 'minute')}. No camera? Open "
        f"`{link.partition('#')[0]}` and type `{_in_fours(code)}`."
    )
    if scheme == "http":
        st.caption(
            "Without https anyone in the same network could listen in; use your own network, not "
            "a public one (DEVELOPERS.md, Who may come in)."
        )


def _devices(devices: Devices, zone: str) -> None:
    """Each device that may come in, with a button that shuts it out."""
    inside = [device for device in devices.all() if device.may_come_in(_now())]
    if not inside:
        st.caption("No phone is paired.")
    for device in inside:
        name, button = st.columns([4, 1], vertical_alignment="center")
        name.markdown(
            f"**{words.plain(device.name)}**, paired {_when(device.paired_at, zone)}, "
            f"last seen {_when(device.seen_at, zone)}"
        )
        if button.button("Shut out", key=f"revoke_{device.id}", help="It must be paired anew."):
            devices.revoke(device.id, _now())
            saves.note_saved(f"{device.name} is shut out.")


def _reports(store: Unopened) -> None:
    """Laps whose clock was put right, or that carry a flag."""
    found = notes(store.engine)
    if found.empty:
        return
    st.markdown("**What phones said about their laps**")
    zone = store.shop().timezone
    shown = found.assign(
        started_at=found.started_at.dt.tz_convert(zone).dt.tz_localize(None),
        said=[_said(row) for row in found.itertuples()],
    )
    columns = {"started_at": "Began", "product": "Product", "operation": "Operation",
               "device": "Phone", "said": "What is to know", "lap_id": "Lap"}  # fmt: skip
    st.dataframe(shown[list(columns)].rename(columns=columns), hide_index=True)


def _said(row: Any) -> str:
    """What a phone said of one lap, a row of `notes`: its clock put right, then its flags."""
    said = [_flag(flag) for flag in row.flags.splitlines()]
    if row.clock_corrected:
        said.insert(0, f"the phone's clock was {_how_far(row.clock_difference_seconds)}; the start "
                       "was put right")  # fmt: skip
    return "; ".join(said)


def _flag(flag: str) -> str:
    if flag.startswith("trial:"):
        return f"trial, way {flag.removeprefix('trial:')}"
    return FLAG_WORDS.get(flag, flag.replace("_", " "))


def _how_far(behind_seconds: float) -> str:
    minutes = abs(behind_seconds) / 60
    far = words.count(minutes, "minute") if minutes >= 1 else words.duration(60 * minutes)
    if minutes >= 90:
        far = f"{words.number(minutes / 60, 1)} hours"
    return f"{far} {'behind' if behind_seconds > 0 else 'ahead'}"


def _in_fours(code: str) -> str:
    return "-".join(code[at : at + 4] for at in range(0, len(code), 4))


def _when(micros: int, zone: str) -> str:
    at = datetime.fromtimestamp(micros / 1e6, ZoneInfo(zone))
    return f"{words.day(at)}, {words.clock(at)}"


def _now() -> int:
    return time.time_ns() // 1000
