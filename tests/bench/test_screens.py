"""Phones on the Laps screen, and laps that reach an open dashboard by themselves."""

import json
import xml.etree.ElementTree as ElementTree

import pytest
from streamlit.testing.v1 import AppTest

from analysis.screens import live
from analysis.store.bench import Delivery, PhoneLap, record
from analysis.store.bench_devices import CODE_LASTS, Devices
from analysis.store.connection import writing
from analysis.store.store import open_store
from tests.bench.conftest import now
from tests.bench.serving import ROOT, lap
from tests.screens.driving import turn_to

PHONES = "from analysis.screens import pairing\npairing.show()\n"


@pytest.fixture
def devices(own_store):
    return Devices(open_store(own_store).engine)


def run(script: str = PHONES) -> AppTest:
    screen = AppTest.from_string(script, default_timeout=60).run()
    assert not screen.exception, screen.exception[0].message
    return screen


def texts(screen: AppTest) -> str:
    return "\n".join(part.value for kind in (screen.markdown, screen.caption, screen.warning,
                                             screen.info, screen.success, screen.code)
                     for part in kind)  # fmt: skip


def test_a_maker_who_has_not_opened_the_network_is_told_how(devices):
    screen = run()
    assert "WORKSHOP_OPEN=1 streamlit run app.py --server.address 0.0.0.0" in texts(screen)
    unix, windows = (block.value for block in screen.code)
    assert unix.startswith("WORKSHOP_OPEN=1 .venv/bin/streamlit run")
    assert windows.startswith('$env:WORKSHOP_OPEN="1"; .venv\\Scripts\\streamlit run')
    assert all(block.proto.wrap_lines for block in screen.code)
    assert "press **C**" in texts(screen) and "**Enter**" in texts(screen)
    assert not screen.button


def test_it_says_whose_workshop_the_laps_go_to_also_while_the_demo_is_shown(devices):
    assert "go to **My workshop**" in texts(run()) and "stays as it is" in texts(run())
    chosen = 'import streamlit\nstreamlit.session_state["workshop"] = "My workshop"\n'
    own = texts(run(chosen + PHONES))
    assert "go to **My workshop**" in own and "Demo" not in own


@pytest.fixture
def opened(monkeypatch):
    monkeypatch.setenv("WORKSHOP_OPEN", "1")
    monkeypatch.setenv("WORKSHOP_ADDRESS", "workshop.local")


def test_the_code_on_the_screen_pairs_a_phone_and_the_screen_says_so(devices, opened):
    screen = run()
    screen.button[0].click().run()
    code, ends_at, _ = screen.session_state["pairing"]
    in_fours = "-".join(code[at : at + 4] for at in range(0, 16, 4))
    assert in_fours in texts(screen) and "http://workshop.local:8501/bench" in texts(screen)
    assert 0 < ends_at - now() <= CODE_LASTS
    assert devices.pair(in_fours, "thumb", now())
    screen.run()
    assert "pairing" not in screen.session_state
    assert "**thumb**, paired" in texts(screen)


def test_the_picture_is_the_link_and_the_code_stands_behind_its_hash(devices, opened, monkeypatch):
    import segno

    made = []
    make = segno.make
    monkeypatch.setattr(segno, "make", lambda link, **more: made.append(link) or make(link, **more))
    screen = run()
    screen.button[0].click().run()
    code = screen.session_state["pairing"][0]
    assert made[-1] == f"http://workshop.local:8501/bench#pair={code}"
    ElementTree.fromstring(make(made[-1], error="m").svg_inline())


def test_an_old_code_is_no_longer_shown(devices, opened):
    screen = run()
    screen.button[0].click().run()
    code, _, paired = screen.session_state["pairing"]
    screen.session_state["pairing"] = (code, now() - 1, paired)
    screen.run()
    assert "no longer good" in texts(screen) and code[:4] not in texts(screen)


def test_a_device_is_shut_out_with_one_button_and_its_name_is_plain_text(devices, opened):
    devices.pair(devices.new_code(now()), "<script>x</script> *bold*", now())
    screen = run()
    assert r"\<script\>x\</script\> \*bold\*" in texts(screen)
    [button] = [button for button in screen.button if button.label == "Shut out"]
    button.click().run()
    assert devices.all()[0].revoked_at is not None
    assert "No phone is paired" in texts(screen)


def send(store, sent_hours_ago: float = 0, **changes) -> str:
    """Record a lap as the server does; its id."""
    content = {name: value for name, value in (lap() | changes).items()
               if name not in ("revision", "removed", "flags")}  # fmt: skip
    content |= {"started_at": now() - int(sent_hours_ago * 3600e6) - 60_000_000}
    one = PhoneLap(content["lap_id"], 0, False, content, tuple(changes.get("flags", ())))
    sent = Delivery("phone-0001", now() - int(sent_hours_ago * 3600e6), now(), (one,))
    with writing(store.engine) as connection:
        record(connection, [sent])
    return content["lap_id"]


def test_a_clock_put_right_and_a_flag_can_be_seen(own_store):
    store = open_store(own_store)
    send(store)
    send(store, sent_hours_ago=5, flags=["reload", "trial:B"])
    [table] = run().dataframe
    assert len(table.value) == 1
    said = table.value["What is to know"].iloc[0]
    assert "5.0 hours behind" in said and "loaded anew" in said and "trial, way B" in said


def test_the_laps_screen_ends_with_the_phones(own_store):
    screen = turn_to(run("from analysis.screens import laps\nlaps.show()\n"), "Phones")
    assert "Phones at the bench" in [part.value for part in screen.subheader]


COUNT = """
import streamlit as st
from analysis.screens import live, source

class Page:
    url_path = st.session_state.get("path", "this-week")
    def run(self):
        st.session_state["drawn"] = st.session_state.get("drawn", 0) + 1
        st.markdown(f"{source.current().store.lap_count()} laps")

live.draw(Page())
"""


def look(path: str, **state) -> AppTest:
    screen = AppTest.from_string(COUNT, default_timeout=60)
    screen.session_state["path"] = path
    for name, value in state.items():
        screen.session_state[name] = value
    return screen.run()


def test_a_screen_at_rest_is_drawn_once(own_store):
    send(open_store(own_store))
    assert look("this-week").session_state["drawn"] == 1


def test_a_dashboard_looks_more_often_than_every_two_seconds():
    assert live.LOOK_EVERY_SECONDS < 2


def test_the_first_laps_from_the_bench_are_announced_while_the_demo_is_on_screen(own_store):
    screen = look("this-week", workshop="Demo bindery")
    assert not screen.info
    send(open_store(own_store))
    screen.run()
    assert "own workshop, not in the demo" in screen.info[0].value
    screen.button[0].click().run()
    assert "1 laps" in texts(screen)


def test_app_py_shows_the_screens_and_holds_the_server(own_store):
    from streamlit.web.server.app_discovery import discover_asgi_app

    found = discover_asgi_app(ROOT / "app.py")
    assert found.is_asgi_app and found.app_name == "app"
    screen = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    assert not screen.exception and "This week" in json.dumps([part.value for part in screen.title])
