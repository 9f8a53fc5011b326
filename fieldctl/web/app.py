"""The application: guard, API, stream and pages put together around one house."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from fieldctl import __version__
from fieldctl.web import api, debrief_pages, metrics, nowhere, pages, people_pages, signing, stream
from fieldctl.web.guard import Guard
from fieldctl.web.house import House

COMPRESS_FROM = 700  # bytes; below it nothing is gained


def make_app(house: House) -> FastAPI:
    """The web of one serve; whose request it is, is answered by `app.state.identify`."""
    app = FastAPI(title="fieldctl", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.house = house
    app.state.identify = house.accounts.identify
    app.include_router(stream.router())
    app.include_router(signing.router(house))
    app.include_router(people_pages.router(house))
    app.include_router(metrics.router(house))
    app.include_router(pages.router())
    app.include_router(debrief_pages.router())
    app.include_router(api.router(house))  # last: it answers for all that is left under /api/v1/
    nowhere.install(app)
    app.add_middleware(GZipMiddleware, minimum_size=COMPRESS_FROM)
    app.add_middleware(Guard, hosts=house.hosts)
    return app
