"""Every sentence that can reach a page, read out of the source: f-strings as templates with {placeholders}.

A message is an argument of an error, a hindrance, a question and so on (SINKS); what a local name, a local function or
a parameter of a helper puts into it is put into it here too, so that whole sentences come out.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import fieldctl

ROOT = Path(fieldctl.__file__).parent

FILES = (
    "errors.py", "ready.py", "clock/exchange.py", "clock/mapping.py",
    *(f"controller/{name}.py" for name in (
        "alarms", "hook", "verbs_alarm",
        "access", "access_state", "controller", "group_links", "hearing", "joining", "pen", "people", "snapshot",
        "ticked", "verbs", "verbs_assessment", "verbs_day", "verbs_exercise", "verbs_kit", "verbs_people",
        "verbs_retrieval", "verbs_rights", "verbs_selftest", "verbs_visit",
        "verbs_target", "verbs_trace", "verbs_upkeep", "verbs_walkin", "walkin",
    )),
    *(f"drill/{name}.py" for name in ("corrections", "moves", "pick", "score", "unmet")),
    *(f"site/{name}.py" for name in ("checks", "day", "place_warnings")),
    *(f"ledger/{name}.py" for name in ("codec", "failing", "store", "writer")),
    *(f"rehearsal/{name}.py" for name in ("apart", "hard", "picture", "preview", "rehearse", "scene", "skill")),
    "debrief/read.py", "debrief/assessment_list.py", "debrief/show.py",
    *(f"web/{name}.py" for name in (
        "accounts", "api", "asking", "carry_pages", "day_pages", "debrief_pages", "elsewhere", "given", "guard",
        "health", "keys", "nowhere", "passwords", "problems", "qr", "rehearsing", "signing",
    )),
)  # fmt: skip
"""Where sentences for people are made."""

ERRORS = (
    *(
        "FieldctlError",
        "Refused",
        "NotFound",
        "InUse",
        "Unreachable",
        "TimedOut",
        "LinkDown",
        "LedgerFailed",
        "BadInput",
    ),
    *("NotSignedIn", "RightMissing", "WrongSecret", "KeyMissing", "KeyReused", "Busy", "TooLong", "NotJson"),
    *("ForeignPage", "HeaderMissing", "OtherHost", "WrongRequest"),
)
SINKS: Mapping[str, tuple[int | str, ...]] = {
    **dict.fromkeys(ERRORS, (0, "expected", "remedy")),
    "__init__": (0, "expected", "remedy"),  # of an error that says the same each time
    "Hindrance": (1, 2),
    "Problem": (1, 2),
    "Unmet": (2, 3),
    "ToJudge": (3,),
    "QuestionAsked": (2,),
    "ExerciseInterrupted": (3,),
    "ImpossibleAnswer": (1,),
    "Candidate": (8,),
    "TooNear": (3, 4),
    "Kind": (1, 2),
    "Assumed": (1, 2),
    "Reason": (1,),
    "odd": (2,),
    "Rule": (1, 2),
    "said": (0,),
    "TargetBarred": (1,),
}
"""Which arguments of which calls are read by people."""

GIVEN_BACK: Mapping[str, tuple[str, ...]] = {
    "clock/exchange.py": ("__str__",),
    "controller/snapshot.py": ("place",),
    "drill/corrections.py": ("fault_of",),
    "drill/score.py": ("_clock_anomalies",),
    "rehearsal/apart.py": ("text", "remedy"),
    "site/checks.py": ("_label",),
    "site/day.py": ("why_not",),
}
"""Functions whose texts people read as they are, or inside another sentence: those are sayings of their own."""

GATHERED = frozenset(["anomalies", "unusable", "notes", "rows"])
"""Lists of sentences."""

DEEP = 6  # how far a name is followed; past that it stays a placeholder
WORD = re.compile(r"[^\W\d_]{2,}")
FIELD = re.compile(r"\{([^{}]*)\}")


@dataclass(slots=True)
class _Scope:
    """A function, what is assigned in it and what was passed to it; `outer` is the function or module around it."""

    node: ast.AST
    outer: _Scope | None = None
    assigned: dict[str, list[ast.expr]] = field(default_factory=dict)
    parameters: tuple[str, ...] = ()
    functions: dict[str, _Scope] = field(default_factory=dict)


class Reader:
    """One module's sentences."""

    def __init__(self, text: str, given_back: tuple[str, ...] = ()) -> None:
        self._tree = ast.parse(text)
        self._given_back = given_back
        self._top = _Scope(self._tree)
        self._calls: list[tuple[ast.Call, _Scope]] = []
        self._by_name: dict[str, list[_Scope]] = {}
        self._fill(self._top, self._tree)

    def _fill(self, scope: _Scope, node: ast.AST) -> None:
        for child in ast.iter_child_nodes(node):
            match child:
                case ast.FunctionDef() | ast.AsyncFunctionDef():
                    names = [a.arg for a in (*child.args.posonlyargs, *child.args.args, *child.args.kwonlyargs)]
                    inner = _Scope(
                        child, scope, parameters=tuple(name for name in names if name not in ("self", "cls"))
                    )
                    self._by_name.setdefault(child.name, []).append(inner)
                    self._fill(inner, child)
                    continue
                case (
                    ast.Assign(targets=[ast.Name(id=name)], value=value)
                    | ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value)
                ):
                    scope.assigned.setdefault(name, []).append(value)
                case ast.Call():
                    self._calls.append((child, scope))
            self._fill(scope, child)

    def sentences(self) -> Iterator[str]:
        """Each template; a sentence that is nothing but a placeholder is none."""
        for call, scope in self._calls:
            for argument in self._read_by_people(call):
                yield from self._say(argument, scope, 0)
        for scope in (self._top, *(one for scopes in self._by_name.values() for one in scopes)):
            for gathered in (value for name in GATHERED for value in scope.assigned.get(name, ())):
                for part in gathered.elts if isinstance(gathered, ast.List) else ():
                    yield from self._say(part, scope, 0)
        for name in self._given_back:
            for scope in self._by_name.get(name, []):
                for value in _returned(scope.node):
                    for part in value.elts if isinstance(value, ast.List) else [value]:
                        yield from self._say(part, scope, 0)

    def _read_by_people(self, call: ast.Call) -> Iterator[ast.expr]:
        name = _called(call.func)
        if name == "append" and isinstance(call.func, ast.Attribute) and _last(call.func.value) in GATHERED:
            yield from call.args[0].elts if isinstance(call.args[0], ast.Tuple) else call.args[:1]
            return
        for place in SINKS.get(name, ()):
            if isinstance(place, int):
                if place < len(call.args):
                    yield call.args[place]
            else:
                yield from (k.value for k in call.keywords if k.arg == place)

    def _say(self, node: ast.expr, scope: _Scope, deep: int) -> list[str]:
        """Every text that an expression can be."""
        match node:
            case ast.Constant(value=str(text)):
                return [text]
            case ast.Constant(value=None):
                return []
            case ast.JoinedStr(values=values):
                return _joined([self._say(value, scope, deep) for value in values])
            case ast.FormattedValue(value=value, conversion=-1, format_spec=None):
                return self._say(value, scope, deep)
            case ast.FormattedValue(value=value):
                return [_field(value)]
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                return _joined([self._say(left, scope, deep), self._say(right, scope, deep)])
            case ast.IfExp(body=body, orelse=orelse):
                return [*self._say(body, scope, deep), *self._say(orelse, scope, deep)]
            case ast.BoolOp(op=ast.Or(), values=values):
                return [text for value in values for text in self._say(value, scope, deep)]
            case ast.BoolOp(op=ast.And(), values=values):
                return self._say(values[-1], scope, deep)
        return self._followed(node, scope, deep)

    def _followed(self, node: ast.expr, scope: _Scope, deep: int) -> list[str]:
        """What a name, a call or a row of a table stands for, where that is a text of this module."""
        found: list[str] = []
        if deep < DEEP:
            for value, where in self._stands_for(node, scope):
                said = self._say(value, where, deep + 1)
                if all(FIELD.fullmatch(text) for text in said):
                    said = [_field(node)]
                found += said
        return list(dict.fromkeys(found)) or [_field(node)]

    def _stands_for(self, node: ast.expr, scope: _Scope) -> Iterator[tuple[ast.expr, _Scope]]:
        match node:
            case ast.Name(id=name):
                yield from self._named(name, scope)
            case ast.Subscript(value=ast.Name(id=name)):
                for value, where in self._named(name, scope):
                    if isinstance(value, ast.Dict):
                        yield from ((row, where) for row in value.values)
            case ast.Call(func=func) if _called(func) in self._by_name and _called(func) not in self._given_back:
                for called in self._by_name[_called(func)]:
                    yield from ((value, called) for value in _returned(called.node))

    def _named(self, name: str, scope: _Scope | None) -> Iterator[tuple[ast.expr, _Scope]]:
        while scope is not None:
            if name in scope.assigned:
                yield from ((value, scope) for value in scope.assigned[name])
            if name in scope.parameters:
                yield from self._passed(name, scope)
            if name in scope.assigned or name in scope.parameters:
                return
            scope = scope.outer

    def _passed(self, name: str, scope: _Scope) -> Iterator[tuple[ast.expr, _Scope]]:
        """What the callers in this module give for a parameter."""
        place = scope.parameters.index(name)
        for call, where in self._calls:
            if _called(call.func) == getattr(scope.node, "name", "") and where is not scope:
                if place < len(call.args):
                    yield call.args[place], where
                yield from ((k.value, where) for k in call.keywords if k.arg == name)


def _returned(node: ast.AST) -> list[ast.expr]:
    return [n.value for n in ast.walk(node) if isinstance(n, ast.Return) and n.value is not None]


def _joined(parts: list[list[str]]) -> list[str]:
    return ["".join(row) for row in itertools.islice(itertools.product(*parts), 4096)]


def _last(node: ast.AST) -> str:
    """The last identifier of an expression: of what is asked, cut, or counted."""
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
        case ast.Subscript(value=value) | ast.Await(value=value) | ast.FormattedValue(value=value):
            return _last(value)
        case ast.BinOp(left=left):
            return _last(left)
        case ast.Call(args=[*_, last]) if not isinstance(last, ast.Constant):
            return _last(last)
        case ast.Call(func=func):
            return _last(func.value if isinstance(func, ast.Attribute) and _last(func.value) != "self" else func)
        case (
            ast.GeneratorExp(generators=[ast.comprehension(iter=of), *_])
            | ast.ListComp(generators=[ast.comprehension(iter=of), *_])
        ):
            return _last(of)
    return "value"


def _called(func: ast.expr) -> str:
    """The name of what is called."""
    return func.id if isinstance(func, ast.Name) else func.attr if isinstance(func, ast.Attribute) else ""


def _field(node: ast.AST) -> str:
    return "{" + _last(node) + "}"


def numbered(template: str) -> str:
    """A template whose placeholders have each a name of their own: {name} … {name2}."""
    seen: dict[str, int] = {}

    def one(match: re.Match[str]) -> str:
        name = re.sub(r"\W", "", match[1])
        seen[name] = seen.get(name, 0) + 1
        return "{" + name + (str(seen[name]) if seen[name] > 1 else "") + "}"

    return FIELD.sub(one, template)


def spoken() -> dict[str, str]:
    """Every template with the file that it is first said in."""
    found: dict[str, str] = {}
    for name in FILES:
        for text in Reader((ROOT / name).read_text(encoding="utf-8"), GIVEN_BACK.get(name, ())).sentences():
            template = numbered(text)
            if WORD.search(FIELD.sub("", template)):
                found.setdefault(template, name)
    return found
