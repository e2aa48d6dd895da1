"""The app: pages for the tablet and the office, and the calculation doors over HTTP.

Pages are server-rendered and need nothing from outside the machine. A page module in ``pages/``
has a ``router``; it shows what `wareleaf.works` says and does no arithmetic of the trade.
"""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.base import RequestResponseEndpoint
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.sessions import SessionMiddleware

from wareleaf import __version__
from wareleaf.measure.errors import BadInput
from wareleaf.store import BookUnavailable
from wareleaf.web import charts, session
from wareleaf.web.as_json import wants_json
from wareleaf.web.view import show_astray, show_refusal, show_unavailable
from wareleaf.works.house import Works

HERE = Path(__file__).parent
# Pages run only what this machine serves. Vega's interpreter needs no 'unsafe-eval'.
CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; "
    "frame-ancestors 'none'; base-uri 'self'; form-action 'self'"
)


def create_app(works: Works) -> FastAPI:
    """Build the app around an open works."""
    app = FastAPI(title="Wareleaf", version=__version__, docs_url=None, redoc_url=None)
    app.state.works = works
    app.middleware("http")(_guard)
    app.add_middleware(
        SessionMiddleware,
        secret_key=session.secret(works),
        session_cookie="wareleaf",
        same_site="strict",
        max_age=14 * 3600,
    )
    app.add_middleware(GZipMiddleware, minimum_size=1024)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.add_exception_handler(BadInput, show_refusal)
    app.add_exception_handler(BookUnavailable, show_unavailable)
    app.add_exception_handler(HTTPException, show_astray)
    for found in pkgutil.iter_modules([str(HERE / "pages")]):
        app.include_router(importlib.import_module(f"wareleaf.web.pages.{found.name}").router)
    charts.warm_up()
    return app


OPEN_PATHS = ("/static/", "/sign-in", "/api/", "/openapi.json", "/health")


async def _guard(request: Request, call_next: RequestResponseEndpoint) -> Response:
    """Let only people who signed in see the works; refuse posts from elsewhere."""
    path = request.url.path
    if not path.startswith(OPEN_PATHS) and session.person_id(request) is None:
        if wants_json(request):
            return JSONResponse({"error": "Sign in first."}, status_code=401)
        asked = f"{path}?{request.url.query}" if request.url.query else path
        return RedirectResponse(f"/sign-in?then={quote(asked)}", status_code=303)
    origin = request.headers.get("origin")
    if request.method == "POST" and origin and origin != _own_origin(request):
        return JSONResponse({"error": "This form came from another site."}, status_code=403)
    response = await call_next(request)
    response.headers.setdefault("Content-Security-Policy", CONTENT_POLICY)
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    return response


def _own_origin(request: Request) -> str:
    return f"{request.url.scheme}://{request.headers.get('host', '')}"
