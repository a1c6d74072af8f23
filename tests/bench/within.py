"""The program's own routes as app.py lists them, answered by a server inside this process: over
real connections, and with parts of the program taken away where a fault is to be met."""

import gc
import runpy
import socket
import threading
from pathlib import Path

import streamlit as st
import uvicorn
from starlette.applications import Starlette

from tests.bench.serving import ROOT, Server


def own_app() -> dict:
    """What app.py makes, with `routes` and `middleware` as it gives them to Streamlit."""
    streamlit_s = st.App
    st.App = lambda _script, **parts: parts
    try:
        made = runpy.run_path(str(ROOT / "app.py"))
    finally:
        st.App = streamlit_s
        gc.unfreeze()
    return made["app"] | {"bench": made["bench"]}


class Within(Server):
    """A server on every address of this computer, its store where WORKSHOP_STORE says."""

    def __init__(self, folder: Path):
        super().__init__(folder)
        app = own_app()
        self.bench = app["bench"]
        starlette = Starlette(routes=app["routes"], middleware=app["middleware"])
        self.listening = socket.create_server(("0.0.0.0", 0), backlog=100)
        self.port = self.listening.getsockname()[1]
        self.uvicorn = uvicorn.Server(uvicorn.Config(starlette, log_config=None, lifespan="off"))
        self.thread = threading.Thread(target=self.uvicorn.run, args=([self.listening],))

    def start(self) -> "Within":
        """Connections wait in the socket until it answers."""
        self.thread.start()
        return self

    def stop(self) -> None:
        self.uvicorn.should_exit = True
        self.thread.join()
        self.listening.close()
