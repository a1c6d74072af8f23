"""The program's one entry, `streamlit run app.py`: the dashboard, and the phone's bench page.

The file is read twice: by the server, which finds the ASGI application `app` here, and by
Streamlit for every look at the dashboard, which draws the screens.
"""

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

if get_script_run_ctx(suppress_warning=True) is None:
    import gc

    from starlette.responses import FileResponse
    from starlette.routing import Route

    from analysis.bench.assets import PAGE
    from analysis.bench.lifespan import lifespan
    from analysis.bench.routes import middleware, routes
    from analysis.bench.service import Bench
    from analysis.screens import shown_files

    bench = Bench()
    icon = Route("/favicon.png", lambda _request: FileResponse(PAGE / "icon.svg"))
    app = st.App(
        __file__,
        routes=[icon, shown_files.route(), *routes(bench)],
        middleware=middleware(bench),
        lifespan=lifespan(bench),
    )
    gc.freeze()  # what is loaded stays; Streamlit goes through everything else after every run
else:
    from analysis.screens.frame import show

    show()
