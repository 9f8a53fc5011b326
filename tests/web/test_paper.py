"""Pages are made in the loop that keeps the field: what takes long is done before."""

from __future__ import annotations

import pytest
from jinja2 import Environment

from fieldctl.web import paper


def test_once_the_templates_are_read_no_page_compiles_any(monkeypatch: pytest.MonkeyPatch) -> None:
    paper._environment.cache_clear()
    paper.read_templates()

    def compiles(*_given: object, **_named: object) -> None:
        raise AssertionError("a template was compiled for a page")

    monkeypatch.setattr(Environment, "compile", compiles)
    names = paper._environment().list_templates()
    assert {"base.html", "now.html", "upkeep.html"} <= set(names)
    for name in names:
        assert paper._environment().get_template(name).name == name
