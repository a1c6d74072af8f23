"""The least that any server of this kind does for a POST: reads it and answers, checks and writes
nothing. `uvicorn tests.benchmarks.bare_route:app` is measured beside ours as the floor of HTTP."""

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route


async def answer_at_once(request: Request) -> JSONResponse:
    """Takes whatever comes."""
    await request.body()
    return JSONResponse({"acknowledged": [{}], "refused": []})


app = Starlette(routes=[Route("/laps", answer_at_once, methods=["POST"])])
