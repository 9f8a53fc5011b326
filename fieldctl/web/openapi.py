"""The API's contract as an OpenAPI document, made from the verbs, their models and the table of problems.

Nothing in it is written twice: summaries are the verbs' docstrings, bounds and examples those that requests are held
to, statuses those of `problems.KINDS`.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel, TypeAdapter

from fieldctl import __version__
from fieldctl.controller.verbs import Verb
from fieldctl.web import api_answers, keys, openapi_examples, pressed, problems, qr
from fieldctl.web.api_answers import ANSWERS
from fieldctl.web.api_models import Asked, argument, by_query, takes
from fieldctl.web.asking import ALL_OFF, reads
from fieldctl.web.openapi_ways import WAYS, Way

Row = dict[str, Any]

SESSION = "session"
DESCRIPTION = """\
What the pages of a practice field do, for programs. A training aid, not rescue equipment: any signal is a person until
proved otherwise, and in a real alarm all off and rescue go together.

Each verb is `POST /api/v1/<verb>` with a JSON object of its arguments; verbs that only read take `GET` too, where all
that they take is plain. Who asks is taken from the session. A request that changes something carries `X-Fieldctl: 1`
and an `Idempotency-Key`: the client's own id of one press. Sent again by the same phone, it is carried out once and
answered alike, also while the first is still under way. What began is carried to its end though the client goes away.
It may say when it was pressed (`X-Fieldctl-Pressed`): what comes late is then not carried out, save a stop; a call and
a split are kept with the moment of their tap.

All off (`POST /api/v1/all-off`, or the plain form `POST /all-off`) needs no login, no key and no body.

What goes wrong is answered as `application/problem+json` with a remedy. Fields are only ever added to an answer: read
over those that you do not know."""

ROOT = "/api/v1/"
SEQ_MOST = 2**53 - 1  # the last whole number that every JSON reader holds
LOG_MOST = 200
LOG_USUAL = 100


def document(verbs: Mapping[str, Verb], models: Mapping[str, type[Asked]], session_cookie: str) -> Row:
    """The whole document, as JSON-able values."""
    shapes = _Shapes()
    paths = {f"{ROOT}{name}": _verb(verb, models[name], shapes) for name, verb in verbs.items()}
    paths[ROOT] = {"get": _reading("list", "Every verb in short.", shapes, api_answers.Verbs)}
    paths[f"{ROOT}log"] = {"get": _log(shapes)}
    paths["/api/problems/{code}"] = {"get": _meaning(shapes)}
    paths["/health"] = {"get": _reading("health", "Whether the server lives.", shapes, api_answers.Alive)}
    paths["/ready"] = {"get": _ready(shapes)}
    paths["/metrics"] = {"get": _metrics(shapes)}
    paths["/qr.svg"] = {"get": _qr(shapes)}
    paths["/all-off"] = {"post": _form(shapes)}
    for way in WAYS:
        paths[f"{ROOT}{way.name}"] = {"get" if way.asked is None else "post": _way(way, shapes)}
    paths[f"{ROOT}live"] = {"get": _live(shapes)}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "fieldctl",
            "version": __version__,
            "summary": "A practice field.",
            "description": DESCRIPTION,
        },
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": shapes.made(),
            "responses": shapes.responses,
            "securitySchemes": {
                SESSION: {"type": "apiKey", "in": "cookie", "name": session_cookie, "description": "A paired phone."}
            },
        },
    }


class _Shapes:
    """Models by reference, gathered while the document is made."""

    def __init__(self) -> None:
        self._models: dict[str, tuple[type[BaseModel], str]] = {}
        self.responses: dict[str, Row] = {}

    def ref(self, model: type[BaseModel], mode: str = "serialization") -> Row:
        """A reference to a model."""
        self._models[model.__name__] = (model, mode)
        return {"$ref": f"#/components/schemas/{model.__name__}"}

    def made(self) -> Row:
        """Every model that was referred to, and what they refer to; a test sees to it that no two share a name."""
        inputs: Any = [(name, mode, TypeAdapter(model)) for name, (model, mode) in self._models.items()]
        _, rest = TypeAdapter.json_schemas(inputs, ref_template="#/components/schemas/{model}")
        found: Row = rest["$defs"]
        return dict(sorted(found.items()))


def _json(shape: Row, example: Any = None) -> Row:
    """JSON of a shape, with an example where there is one."""
    return {
        "application/json": {
            "schema": shape,
            **({} if example is None else {"examples": {"usual": {"value": example}}}),
        }
    }


def _problems(shapes: _Shapes, codes: Iterable[str]) -> Row:
    """The answers for these kinds of problems, by status."""
    by_status: dict[int, list[str]] = {}
    for code in dict.fromkeys(codes):
        by_status.setdefault(problems.KINDS[code].status, []).append(code)
    rows: Row = {}
    for status, some in sorted(by_status.items()):
        means = " ".join(f"`{code}`: {problems.KINDS[code].title}." for code in some)
        examples = {code: {"value": openapi_examples.problem(code)} for code in some}
        body = {"schema": shapes.ref(api_answers.Problem), "examples": examples}
        row: Row = {"description": means, "content": {problems.MEDIA: body}}
        header = HEADERS.get(status)
        if header is not None:
            row["headers"] = {header: {"schema": {"type": "string"}}}
        name = f"{status}-{'-or-'.join(some)}"
        shapes.responses[name] = row
        rows[str(status)] = {"$ref": f"#/components/responses/{name}"}
    return rows


HEADERS = {401: "WWW-Authenticate", 429: "Retry-After"}
ALWAYS = ("other-host", "failed")
UNSAFE = ("too-long", "foreign-page", "header-missing", "not-json")
CARRIED = (
    *("bad-input", "file-faults", "not-found", "refused", "in-use", "unreachable", "timeout", "link-down"),
    *("ledger-failed", "ledger-broken", "busy"),
)
CHANGING = ("key-missing", "key-reused", "late")


def _verb(verb: Verb, model: type[Asked], shapes: _Shapes) -> Row:
    common: Row = {
        "summary": summary(verb),
        "description": f"Needs the right `{verb.right}`." if verb.right != "anybody" else "Needs no login.",
        "tags": [verb.name.partition("-")[0]],
        "x-right": verb.right,
        "security": [] if verb.right == "anybody" else [{SESSION: []}],
    }
    answer = ANSWERS.get(verb.name)
    good: Row = {
        "description": "It was done.",
        "content": _json({"type": "object"} if answer is None else shapes.ref(answer)),
    }
    refusals = [*ALWAYS, *CARRIED, *(() if verb.right == "anybody" else ("not-signed-in", "right-missing"))]
    if verb.name == ALL_OFF:
        return {
            "post": {
                **common,
                "operationId": ALL_OFF,
                "responses": {"200": good, **_problems(shapes, ("foreign-page", *ALWAYS))},
            }
        }
    needs_key = not reads(verb)
    if needs_key:
        again = {"description": "`true` where this is the answer of the same key before.", "schema": {"const": "true"}}
        good["headers"] = {"Idempotency-Replayed": again}
    post = {
        **common,
        "operationId": verb.name,
        "parameters": [X_FIELDCTL, *((IDEMPOTENCY_KEY, PRESSED) if needs_key else ())],
        "requestBody": {
            "required": any(info.is_required() for info in model.model_fields.values()),
            "content": _json(shapes.ref(model, "validation"), example(verb)),
        },
        "responses": {
            "200": good,
            **_problems(shapes, (*refusals, *UNSAFE, *(CHANGING if needs_key else ()))),
        },
    }
    if not by_query(verb):
        return {"post": post}
    get = {
        **common,
        "operationId": f"{verb.name}-get",
        "parameters": _in_query(verb, model),
        "responses": {"200": {**good, "description": "As it is now."}, **_problems(shapes, refusals)},
    }
    return {"get": get, "post": post}


def summary(verb: Verb) -> str:
    """What a verb does, in one line: its docstring."""
    return (inspect.getdoc(verb.call) or verb.name).split("\n\n")[0].replace("\n", " ")


def example(verb: Verb) -> Row:
    """A request of a verb that is valid."""
    rows = {p.name: argument(verb, p.name).example for p in takes(verb)}
    return {name: value for name, value in rows.items() if value is not None}


def _in_query(verb: Verb, model: type[Asked]) -> list[Row]:
    shape = model.model_json_schema()["properties"] if model.model_fields else {}
    return [
        {
            "name": p.name,
            "in": "query",
            "required": model.model_fields[p.name].is_required(),
            "description": argument(verb, p.name).says,
            "schema": {k: v for k, v in shape[p.name].items() if k not in ("title", "description")},
        }
        for p in takes(verb)
    ]


X_FIELDCTL: Row = {
    "name": "X-Fieldctl",
    "in": "header",
    "required": True,
    "description": "No page of somebody else's can add it, whatever its value.",
    "schema": {"type": "string"},
    "example": "1",
}
IDEMPOTENCY_KEY: Row = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": True,
    "description": "The client's own id of this press; the same one again where no answer came.",
    "schema": {"type": "string", "minLength": keys.LEAST, "maxLength": keys.MOST, "pattern": keys.PATTERN},
    "example": "4f1c9a52-7d36-4a0e-9a55-0d6f3c1b7e21",
}


PRESSED: Row = {
    "name": pressed.HEADER,
    "in": "header",
    "required": False,
    "description": "When it was pressed: `at;plus-minus;boot`, in microseconds of the host's clock (see `live`).",
    "schema": {"type": "string", "pattern": pressed.PATTERN},
}


def _reading(name: str, summary: str, shapes: _Shapes, answer: type[BaseModel], codes: Iterable[str] = ()) -> Row:
    example = openapi_examples.ANSWERS.get(answer.__name__)
    good: Row = {"description": "As it is now.", "content": _json(shapes.ref(answer), example)}
    return {
        "operationId": name,
        "summary": summary,
        "tags": ["about"],
        "security": [],
        "responses": {"200": good, **_problems(shapes, (*ALWAYS, *codes))},
    }


def _log(shapes: _Shapes) -> Row:
    codes = ("bad-input", "not-signed-in", "right-missing", "ledger-broken", "ledger-failed")
    whole = {"type": "integer", "minimum": 0, "maximum": SEQ_MOST, "default": 0}
    limit = {"type": "integer", "minimum": 1, "maximum": LOG_MOST, "default": LOG_USUAL}
    return {
        **_reading("log", "Entries of the log, oldest first.", shapes, api_answers.Log, codes),
        "description": "Needs the right `watch`.",
        "x-right": "watch",
        "tags": ["log"],
        "security": [{SESSION: []}],
        "parameters": [
            {"name": "after", "in": "query", "description": "Entries after this number.", "schema": whole},
            {"name": "limit", "in": "query", "description": "At most so many.", "schema": limit},
        ],
    }


def _meaning(shapes: _Shapes) -> Row:
    row = _reading("problem", "What a problem of one kind means.", shapes, api_answers.Meaning, ("not-found",))
    code = {"name": "code", "in": "path", "required": True, "schema": {"type": "string"}, "example": "refused"}
    return {**row, "parameters": [code]}


def _ready(shapes: _Shapes) -> Row:
    row = _reading("ready", "Whether the controller is ready and the log takes entries.", shapes, api_answers.Ready)
    row["responses"]["503"] = {
        "description": "Not ready; `why` says so.",
        "content": _json(shapes.ref(api_answers.Ready), {"ready": False, "why": "the log takes no entries"}),
    }
    return row


def _way(way: Way, shapes: _Shapes) -> Row:
    codes = (*way.problems, *(("not-signed-in",) if way.signed_in else ()))
    answers = [shapes.ref(answer) for answer in way.answers]
    row = _reading(way.name, way.says, shapes, way.answers[0], codes)
    row["tags"] = ["coming-in"]
    if len(answers) > 1:
        row["responses"]["200"]["content"] = _json({"anyOf": answers})
    if way.cookie:
        row["responses"]["200"]["headers"] = {"Set-Cookie": {"schema": {"type": "string"}}}
    if way.signed_in:
        row["security"] = [{SESSION: []}]
    if way.asked is None:
        return row
    row["responses"].update(_problems(shapes, (*ALWAYS, *codes, *UNSAFE, "bad-input")))
    required = any(info.is_required() for info in way.asked.model_fields.values())
    body = {"required": required, "content": _json(shapes.ref(way.asked, "validation"), dict(way.example))}
    return {**row, "parameters": [X_FIELDCTL], "requestBody": body}


def _live(shapes: _Shapes) -> Row:
    codes = ("bad-input", "right-missing")
    row = _reading("live", "What changes, as it changes: server-sent events.", shapes, api_answers.Problem, codes)
    row["responses"]["200"] = {
        "description": "`snapshot`, then `patch` and `beat`; `elsewhere` or `ended` where it ends.",
        "content": _text("text/event-stream", openapi_examples.STREAM),
    }
    browser = {"type": "string", "minLength": 8, "maxLength": 64, "pattern": "^[A-Za-z0-9_-]+$"}
    audience = {"enum": ["everybody", "watch", "searching"], "default": "everybody"}
    row["parameters"] = [
        {"name": "browser", "in": "query", "required": True, "description": "One stream a browser.", "schema": browser},
        {"name": "audience", "in": "query", "description": "`watch` needs that right.", "schema": audience},
        {"name": "Last-Event-ID", "in": "header", "schema": {"type": "string", "maxLength": 20, "pattern": "^[0-9]*$"}},
    ]
    return row


def _metrics(shapes: _Shapes) -> Row:
    row = _reading("metrics", "What a Prometheus server may read: no name, no hint.", shapes, api_answers.Problem)
    row["responses"]["200"]["content"] = _text("text/plain", openapi_examples.METRICS)
    return row


def _qr(shapes: _Shapes) -> Row:
    codes = ("bad-input", "not-signed-in")
    row = _reading("qr", "A page of this field as a QR code.", shapes, api_answers.Problem, codes)
    row["description"] = "For whoever is signed in. The address has the name by which it is asked for."
    row["security"] = [{SESSION: []}]
    row["responses"]["200"]["content"] = _text("image/svg+xml", openapi_examples.QR)
    path = {"type": "string", "pattern": qr.OWN_PATH.pattern.replace(r"\Z", "$"), "not": {"pattern": "^//"}}
    row["parameters"] = [
        {"name": "to", "in": "query", "required": True, "description": "The page.", "schema": path, "example": "/now"}
    ]
    return row


def _text(media: str, example: str) -> Row:
    return {media: {"schema": {"type": "string"}, "examples": {"usual": {"value": example}}}}


def _form(shapes: _Shapes) -> Row:
    gone = {"description": "It is out; back to the page.", "headers": {"Location": {"schema": {"type": "string"}}}}
    return {
        "operationId": "all-off-form",
        "summary": "All off as a plain form, for a page without scripts.",
        "description": "Needs no login.",
        "tags": ["all"],
        "security": [],
        "responses": {"303": gone, **_problems(shapes, ("foreign-page", *ALWAYS))},
    }
