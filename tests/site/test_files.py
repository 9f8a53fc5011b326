"""site.toml: what it says is what is read; whatever is wrong is told all at once, each with its line."""

import datetime
import pathlib
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.files import read_drill
from fieldctl.errors import Fault, FileFaults, NotFound
from fieldctl.site.files import load_site, read_site, read_text
from fieldctl.site.model import Axis, Limits, MqttLink, Origin, Polling, SerialLink, Stake
from fieldctl.site.new import templates
from fieldctl.site.survey import SurveyText
from fieldctl.tomlfile import FAULT_LIMIT, SIZE_LIMIT

TEMPLATE = dict(templates())["site.toml"]

SMALL = """\
name = "hollow"
title = "Hollow"
[origin]
lat_deg = 10.0
lon_deg = 20.0
height_m = 1500
[[serial]]
name = "bus"
port = "/dev/ttyS9"
[[mqtt]]
name = "broker"
host = "::1"
tls = true
[[zone]]
name = "upper"
outline_m = [[0, 0], [50, 0], [50, 50], [0, 50]]
[[stake]]
name = "red"
x_m = 1
y_m = 2.5
[[target]]
id = "5EE00001"
name = "one"
zone = "upper"
link = "bus"
x_m = 10
y_m = 20.5
depth_m = 1.2
azimuth_deg = 30
tilt_deg = 80
snow_m = 2
surveyed_on = 2025-12-01
"""


def faults(text: str, surveys: tuple[SurveyText, ...] = ()) -> list[Fault]:
    with pytest.raises(FileFaults) as caught:
        read_site(text, "site.toml", surveys)
    return list(caught.value.faults)


def only(text: str) -> Fault:
    found = faults(text)
    assert len(found) == 1, "\n".join(map(str, found))
    fault = found[0]
    assert fault.file == "site.toml"
    assert fault.wrong
    assert fault.expected
    assert fault.remedy
    return fault


def test_values_are_read() -> None:
    site = read_site(SMALL)
    assert site.origin == Origin(10.0, 20.0, 1500.0)
    assert site.serial == (SerialLink("bus", "/dev/ttyS9"),)
    assert site.mqtt == (MqttLink("broker", "::1", 8883, True),)
    assert site.stakes == (Stake("red", 1.0, 2.5),)
    assert site.zone("upper").title == "upper"
    place = site.place(site.targets[0])
    assert (place.target, place.x_m, place.y_m, place.depth_m) == ("5ee00001", 10.0, 20.5, 1.2)
    assert place.axis == Axis(30.0, 80.0)
    assert (place.snow_m, place.surveyed_on, place.source) == (2.0, datetime.date(2025, 12, 1), "site.toml")
    assert (site.grant_s, site.polling, site.limits) == (30, Polling(), Limits())
    assert site.zone_of() == {"5ee00001": "upper"}


def test_no_origin_and_no_outline_are_needed() -> None:
    text = SMALL.replace("outline_m = [[0, 0], [50, 0], [50, 50], [0, 50]]\n", "")
    text = text.replace("[origin]\nlat_deg = 10.0\nlon_deg = 20.0\nheight_m = 1500\n", "")
    site = read_site(text)
    assert site.origin is None
    assert site.places[0].x_m == 10.0


def test_survey_defaults_hold_where_a_target_says_nothing_else() -> None:
    text = SMALL + '[survey]\nsurveyed_on = 2025-11-11\nsnow_m = 3\nmethod = "tape"\nplus_minus_m = 0.2\n'
    place = read_site(text).places[0]
    assert (place.surveyed_on, place.snow_m, place.method, place.plus_minus_m) == (
        datetime.date(2025, 12, 1),
        2.0,
        "tape",
        0.2,
    )


def test_an_upright_axis_needs_no_azimuth_and_an_unknown_one_stays_unknown() -> None:
    assert read_site(SMALL.replace("azimuth_deg = 30\ntilt_deg = 80", "tilt_deg = 0")).places[0].axis == Axis(0, 0)
    assert read_site(SMALL.replace("azimuth_deg = 30\ntilt_deg = 80\n", "")).places[0].axis is None


def line_of(text: str, needle: str) -> int:
    assert text.count(needle) == 1, needle
    return text[: text.index(needle)].count("\n") + 1


OUTLINE = "outline_m = [[0, 0], [50, 0], [50, 50], [0, 50]]"

ONE_FAULT = [
    # put this, in place of that, and the fault is at the new text's line under this key, with these words
    ('name = "hollow"', "", "name", "missing", 1),
    ('name = "hollow"', 'name = "Hollow 1"', "name", "cannot be used as a name", None),
    ('title = "Hollow"', "title = 7", "title", "a number, not text", None),
    ('title = "Hollow"', 'title = "  "', "title", "empty", None),
    ('title = "Hollow"', 'title = "' + "x" * 201 + '"', "title", "201 characters", None),
    ('title = "Hollow"', 'title = "Hollow"\ngrant_s = 4', "grant_s", "outside 5 to 120", 3),
    ('title = "Hollow"', 'title = "Hollow"\ngrant_s = 30.5', "grant_s", "not whole", 3),
    ('title = "Hollow"', 'title = "Hollow"\ngrant_s = true', "grant_s", "true or false", 3),
    ('title = "Hollow"', 'title = "Hollow"\ngrant = 30', "grant", "did you mean grant_s", 3),
    ('title = "Hollow"', 'title = "Hollow"\nqqq = 30', "qqq", "nothing here has this name", 3),
    ("lat_deg = 10.0", "lat_deg = nan", "origin.lat_deg", "nan", None),
    ("lat_deg = 10.0", "latdeg = 10.0", "origin.lat_deg", "missing", 3),
    ("tls = true", 'tls = "yes"', "mqtt[1].tls", "text", None),
    ("tls = true", 'tls = true\npassword = "secret"', "mqtt[1].password", "copy and print", 14),
    ("tls = true", 'ca_file = "ca.pem"', "mqtt[1].ca_file", "tls is not true", None),
    ('name = "broker"', 'name = "bus"', "mqtt[1].name", "serial link", None),
    (OUTLINE, "outline_m = [[0, 0], [1, 1]]", "zone[1].outline_m", "2 points", None),
    (OUTLINE, "outline_m = [[0, 0], [1, 1], [2]]", "zone[1].outline_m", "[2] is not two numbers", None),
    (OUTLINE, "outline_m = 5", "zone[1].outline_m", "not a list", None),
    (OUTLINE, "outline_m = [[0, 0], [5, 0], [5, 5]]", "target[1].x_m", "outside zone upper", 26),
    ('id = "5EE00001"', 'id = "5EE0001"', "target[1].id", "no target id", None),
    ('id = "5EE00001"', 'id = "00000000"', "target[1].id", "no target id", None),
    ('id = "5EE00001"', "id = 5", "target[1].id", "a number", None),
    ('zone = "upper"', 'zone = "uper"', "target[1].zone", "did you mean 'upper'", None),
    ('link = "bus"', 'link = "boss"', "target[1].link", "no link is called 'boss'", None),
    ("x_m = 10", 'x_m = "10"', "target[1].x_m", "text", None),
    ("x_m = 10", "x_m = 1e99", "target[1].x_m", "outside", None),
    ("depth_m = 1.2", "depth = 1.2", "target[1].depth_m", "missing", 21),
    ("tilt_deg = 80", "tilt_deg = 91", "target[1].tilt_deg", "outside 0 to 90", None),
    ("tilt_deg = 80", "", "target[1].tilt_deg", "missing", 21),
    ("surveyed_on = 2025-12-01", "surveyed_on = 5", "target[1].surveyed_on", "not a date", None),
    ("surveyed_on = 2025-12-01", 'surveyed_on = "2025-13-01"', "target[1].surveyed_on", "month", None),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "wrong", "line"), ONE_FAULT)
def test_each_kind_of_fault_names_line_and_key(old: str, new: str, key: str, wrong: str, line: int | None) -> None:
    assert SMALL.count(old) == 1 or old.startswith(("x_m", "name", "zone"))
    at = SMALL.index("id =") if old == "x_m = 10" else 0
    at = SMALL.index(old, SMALL.index("[[target]]") if old.startswith("zone =") else at)
    text = SMALL[:at] + new + SMALL[at + len(old) :]
    fault = next(f for f in faults(text) if f.key == key)
    assert wrong in fault.wrong
    assert fault.line == (line or SMALL[:at].count("\n") + 1)
    assert fault.expected
    assert fault.remedy


TWICE = [
    ('[[zone]]\nname = "upper"\n', "zone[2].name"),
    ('[[serial]]\nname = "bus"\nport = "x"\n', "serial[2].name"),
    ('[[mqtt]]\nname = "broker"\nhost = "x"\n', "mqtt[2].name"),
    ('[[stake]]\nname = "red"\nx_m = 0\ny_m = 0\n', "stake[2].name"),
    ('[[manual]]\nname = "h"\n[[manual]]\nname = "h"\n', "manual[2].name"),
    ('[[target]]\nid = "5ee00001"\nname = "two"\nzone = "upper"\nx_m=1\ny_m=1\ndepth_m=1\n', "target[2].id"),
    ('[[target]]\nid = "5ee00002"\nname = "one"\nzone = "upper"\nx_m=1\ny_m=1\ndepth_m=1\n', "target[2].name"),
]


@pytest.mark.parametrize(("more", "key"), TWICE)
def test_what_stands_twice_is_a_fault_of_the_second(more: str, key: str) -> None:
    fault = only(SMALL + more)
    assert fault.key == key
    assert fault.line > SMALL.count("\n")


def test_all_faults_come_at_once_in_the_order_of_the_file() -> None:
    text = SMALL.replace("lat_deg = 10.0", "lat_deg = 100.0").replace("tls = true", "tls = 1")
    text = text.replace('zone = "upper"\nlink', 'zone = "lower"\nlink').replace("depth_m = 1.2", "depth_m = -1")
    found = faults(text + "extra = 1\n")
    assert [f.key for f in found] == [
        "origin.lat_deg",
        "mqtt[1].tls",
        "target[1].zone",
        "target[1].depth_m",
        "target[1].extra",
    ]
    assert [f.line for f in found] == [4, 13, 24, 28, 33]


def test_what_is_no_toml_names_the_line() -> None:
    assert only("a = 1\nb = = 2\n").line == 2
    assert only("a = 1\n\nb = [1,\n").line == 4
    assert "nested" in only("a = " + "[" * 5000).wrong


def test_a_huge_file_is_refused_by_its_size() -> None:
    assert str(SIZE_LIMIT) in only("#" * (SIZE_LIMIT + 1)).expected


def test_too_many_faults_are_counted_not_dropped() -> None:
    text = 'name = "a"\ntitle = "b"\n' + "".join(f"bad{n} = 1\n" for n in range(FAULT_LIMIT + 7))
    found = faults(text)
    assert len(found) == FAULT_LIMIT + 1
    assert "7 more faults" in found[-1].wrong


def test_wrong_shapes_where_tables_are_wanted() -> None:
    assert only('name = "a"\ntitle = "b"\norigin = 5\n').key == "origin"
    assert only('name = "a"\ntitle = "b"\ntarget = "x"\n').key == "target"
    assert only('name = "a"\ntitle = "b"\nzone = [1]\n').key == "zone"


def test_the_template_reads() -> None:
    assert len(read_site(TEMPLATE).places) == 12


def test_loading_says_what_is_not_there(tmp_path: pathlib.Path) -> None:
    with pytest.raises(NotFound, match="site new"):
        load_site(tmp_path)


def test_loading_refuses_what_is_no_text(tmp_path: pathlib.Path) -> None:
    (tmp_path / "site.toml").write_bytes(b"name = 'a'\ntitle = '\xff'\n")
    with pytest.raises(FileFaults, match=r":2: .*UTF-8"):
        load_site(tmp_path)


def test_loading_refuses_what_cannot_be_read_or_is_huge(tmp_path: pathlib.Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(FileFaults, match="cannot be read"):
        read_text(tmp_path / "folder.toml", "folder.toml")
    (tmp_path / "site.toml").write_bytes(b"#" * (4 * SIZE_LIMIT + 1))
    with pytest.raises(FileFaults, match="more than 4000000 bytes"):
        load_site(tmp_path)


def test_a_mark_at_the_start_is_no_fault(tmp_path: pathlib.Path) -> None:
    (tmp_path / "site.toml").write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_site(tmp_path).name == "hollow"


def test_surveys_beside_it_are_read_and_the_later_wins(tmp_path: pathlib.Path) -> None:
    (tmp_path / "site.toml").write_text(SMALL)
    (tmp_path / "surveys").mkdir()
    (tmp_path / "surveys" / "2026-01-02-b.csv").write_text("target,x_m,y_m,depth_m\n5ee00001,11,21,1.5\n")
    (tmp_path / "surveys" / "2026-01-05-a.csv").write_text("target,x_m,y_m,depth_m\n5ee00001,12,22,1.7\n")
    (tmp_path / "surveys" / "notes.txt").write_text("nothing to do with it")
    site = load_site(tmp_path)
    assert (site.places[0].x_m, site.places[0].source) == (12.0, "surveys/2026-01-05-a.csv")
    assert site.places[0].link == "bus"
    assert [place.x_m for place in site.history] == [10.0, 11.0]


def test_an_earlier_survey_does_not_win_over_the_site_file() -> None:
    old = SurveyText("surveys/2025-10-01.csv", "target,x_m,y_m,depth_m\n5ee00001,11,21,1.5\n")
    site = read_site(SMALL, surveys=(old,))
    assert site.places[0].x_m == 10.0
    assert [place.x_m for place in site.history] == [11.0]


def test_faults_of_site_and_surveys_come_together() -> None:
    bad = SurveyText("surveys/2025-10-01.csv", "target,x_m,y_m,depth_m\n5ee00001,x,21,1.5\n")
    found = faults(SMALL.replace("tls = true", "tls = 1"), (bad,))
    assert [(f.file, f.line) for f in found] == [("site.toml", 13), ("surveys/2025-10-01.csv", 2)]


# ---- whatever a file holds, it reads or it is told -----------------------------------------------------------

JUNK = ["1", "-1", "1e400", "nan", "true", '""', '"x"', "[]", "[1]", "[[1, 2]]", "[[[]]]", "{}", "{ a = 1 }", "[{}]"]
JUNK += ["1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"\\u0000"', "0x" + "f" * 400, "99999999999999999999"]
TEXTS = {**dict(templates()), "small.toml": SMALL + "[survey]\nsurveyed_on = 2025-01-01\n[limits]\nburial_min = 5\n"}
SPOTS = [(name, n) for name, text in TEXTS.items() for n, row in enumerate(text.split("\n")) if " = " in row]


def told(read: Callable[[], object]) -> Sequence[Fault]:
    """The faults that reading tells; nothing but faults may come."""
    try:
        read()
    except FileFaults as error:
        return error.faults
    return ()


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(SPOTS), st.sampled_from(JUNK), st.booleans())
def test_any_value_in_any_place_reads_or_is_told_with_its_line(spot: tuple[str, int], junk: str, cut: bool) -> None:
    name, n = spot
    rows = TEXTS[name].split("\n")
    key = rows[n].split(" = ")[0]
    text = "\n".join([*rows[:n], f"{key} = {junk}", *([] if cut else rows[n + 1 :])])
    found = told(lambda: read_drill(text, name) if name.startswith("drills/") else read_site(text, name))
    assert all(0 <= f.line <= text.count("\n") + 1 and f.expected and f.remedy for f in found)
    assert len({(f.key, f.wrong) for f in found}) == len(found)


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(["csv", "geojson", "gpx"]),
    st.text(max_size=80) | st.text(alphabet='tarezonx_m,;"\n[]{}:<>/5e0=.', max_size=80),
    st.booleans(),
)
def test_any_text_as_a_survey_reads_or_is_told(kind: str, text: str, headed: bool) -> None:
    head = {"csv": "target,x_m,y_m\n", "geojson": '{"type":"FeatureCollection","features":[', "gpx": "<gpx><wpt "}[kind]
    survey = SurveyText(f"2026-01-01.{kind}", head * headed + text)
    assert all(f.wrong and f.expected and f.remedy for f in told(lambda: read_site(SMALL, "site.toml", (survey,))))


def test_the_bus_has_one_speed() -> None:
    assert read_site('name = "a"\ntitle = "A"\n[[serial]]\nname = "bus"\nport = "/dev/ttyUSB0"\nbaud = 115200\n').serial
    with pytest.raises(FileFaults) as caught:
        read_site('name = "a"\ntitle = "A"\n[[serial]]\nname = "bus"\nport = "/dev/ttyUSB0"\nbaud = 9600\n')
    assert [fault.key for fault in caught.value.faults] == ["serial[1].baud"]
