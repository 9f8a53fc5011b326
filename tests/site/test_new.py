"""A new site: complete, readable by the program itself, never over anything."""

import pathlib

import pytest

from fieldctl.drill.files import read_drill
from fieldctl.errors import Refused
from fieldctl.site.files import load_site
from fieldctl.site.new import TEMPLATES, new_site


def test_it_writes_a_site_that_reads(tmp_path: pathlib.Path) -> None:
    written = new_site(tmp_path / "hollow")
    assert [str(path.relative_to(tmp_path / "hollow")) for path in written] == list(TEMPLATES)
    site = load_site(tmp_path / "hollow")
    assert (site.name, len(site.zones), len(site.manual), site.grant_s) == ("larch-hollow", 2, 1, 30)
    assert site.targets == tuple(f"5ee000{n:02x}" for n in range(1, 13))
    assert [place.link for place in site.places] == ["bus"] * 8 + ["broker"] * 4


def test_its_drills_read_and_show_what_they_are_for(tmp_path: pathlib.Path) -> None:
    drills = {p.stem: read_drill(p.read_text(), p.name) for p in new_site(tmp_path)[1:]}
    assert len(drills["one-burial"].burials) == 1
    three = drills["three-in-sequence"]
    assert [b.signal.kind for b in three.burials] == ["start", "after-find", "delay"]
    assert three.burial("B").signal.after == "A"
    assert {b.after_find for b in three.burials} == {"keeps-sending"}
    assert drills["close-pair"].burial("B").apart[0].most_m <= 15
    assert not drills["probe-line"].sends


def test_templates_say_that_they_are_invented(tmp_path: pathlib.Path) -> None:
    for path in new_site(tmp_path):
        assert "nvented" in path.read_text()


@pytest.mark.parametrize("name", TEMPLATES)
def test_nothing_is_overwritten_and_nothing_else_is_written(tmp_path: pathlib.Path, name: str) -> None:
    there = tmp_path / name
    there.parent.mkdir(exist_ok=True)
    there.write_text("mine")
    with pytest.raises(Refused) as refused:
        new_site(tmp_path)
    assert name in refused.value.what
    assert there.read_text() == "mine"
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [there]


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: pathlib.Path) -> None:
    (tmp_path / "site").write_text("")
    with pytest.raises(Refused, match="is a file"):
        new_site(tmp_path / "site")


def test_a_link_into_nowhere_counts_as_something_there(tmp_path: pathlib.Path) -> None:
    (tmp_path / "site.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(Refused, match=r"site\.toml"):
        new_site(tmp_path)
    assert not (tmp_path / "elsewhere.toml").exists()


def test_what_appears_meanwhile_is_not_overwritten(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "site.toml").write_text("mine")
    monkeypatch.setattr(pathlib.Path, "exists", lambda _: False)
    with pytest.raises(Refused, match="File exists") as refused:
        new_site(tmp_path)
    assert "Written so far: nothing" in refused.value.what
    assert (tmp_path / "site.toml").read_text() == "mine"
