"""How a page is made: a template, the reader's language and rights, and the sentences that its scripts need."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fieldctl import __version__
from fieldctl.controller.verbs import Right
from fieldctl.web import words
from fieldctl.web.house import house_of
from fieldctl.web.on_page import on_page
from fieldctl.web.rights import Who
from fieldctl.web.sayings import speaker

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
SHARED_PARTS = ("base",)  # sentences that every page's scripts may need

# Where each page of the row of links leads, and who sees it.
LINKS: tuple[tuple[str, str, Right], ...] = (
    ("now", "/", "anybody"),
    ("field", "/field", "watch"),
    ("drills", "/drills", "watch"),
    ("day", "/day", "watch"),
    ("upkeep", "/upkeep", "watch"),
    ("people", "/people", "watch"),
)


def who_of(request: Request) -> Who:
    """Whose request this is."""
    who: Who = request.app.state.identify(request)
    return who


def language_of(request: Request) -> str:
    """The language of this reader."""
    site = house_of(request).controller.site.language
    return words.choose(request.cookies.get(words.COOKIE), request.headers.get("accept-language", ""), site)


@cache
def static_version() -> str:
    """Names the static files as they are, so that browsers may keep them for ever."""
    digest = hashlib.blake2s(__version__.encode())
    for file in sorted(resources.files("fieldctl.web").joinpath("static").iterdir(), key=lambda f: f.name):
        if file.is_file():
            digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:12]


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context

    made = Environment(
        loader=PackageLoader("fieldctl.web", "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    made.filters["clock"] = clock
    made.filters["days"] = days
    made.filters["on_page"] = pass_context(lambda context, text: on_page(context["language"], text))
    return made


def read_templates() -> None:
    """Compile every template: meant for a thread of its own, so that no reader's page compiles any in the loop."""
    made = _environment()
    for name in made.list_templates():
        made.get_template(name)


def fragment(template: str, language: str, **values: Any) -> str:
    """A part of a page in a language, made apart from any request: in another process, for many readers."""
    return (
        _environment()
        .get_template(template)
        .render(t=words.words(language), said=speaker(language), language=language, **values)
    )


def days(text: str) -> Markup:
    """A text whose days, such as 2026-01-24, stay on one line each."""
    from markupsafe import Markup, escape

    return Markup(_DAY.sub(r'<span class="day">\g<0></span>', str(escape(text))))


def clock(seconds: float | None) -> str:
    """Seconds as minutes and seconds, as a clock on a slope shows them: 0:07, 12:30."""
    if seconds is None:
        return "–"
    whole = int(abs(seconds))
    return f"{'−' if seconds < 0 else ''}{whole // 60}:{whole % 60:02d}"


def render(
    request: Request,
    template: str,
    *,
    right: Right = "anybody",
    parts: Iterable[str] = (),
    audience: str | None = None,
    status: int = 200,
    **values: Any,
) -> Response:
    """A page, or the way to the sign-in page for whoever lacks `right`.

    `parts` names the catalogues that its scripts need; `audience` what its stream shows ("watch" for whoever may).
    """
    who = who_of(request)
    if not who.may(right):
        if who.person is not None:
            return render(request, "no_right.html", status=403, needed=right)
        return RedirectResponse(f"/sign-in?next={quote(request.url.path)}", 303)
    house = house_of(request)
    language = language_of(request)
    sentences = {
        key: on_page(language, text) for key, text in words.parts_of(language, (*SHARED_PARTS, *parts)).items()
    }
    text = (
        _environment()
        .get_template(template)
        .render(
            t=words.words(language),
            said=speaker(language),
            language=language,
            languages=words.LANGUAGES,
            texts=json.dumps(sentences, ensure_ascii=False).replace("<", "\\u003c"),
            who=who,
            house=house,
            site=house.controller.site,
            path=request.url.path,
            links=[(key, to) for key, to, needed in LINKS if who.may(needed)],
            static=f"/static/{static_version()}",
            audience=audience or ("watch" if who.may("watch") else "everybody"),
            **values,
        )
    )
    answer = HTMLResponse(text, status)
    answer.headers["Content-Language"] = language
    return answer
