"""Surveys in three formats: the same places out of each, and every fault with its line."""

import datetime
import json
from dataclasses import replace

import pytest

from fieldctl.errors import Fault, FileFaults
from fieldctl.site.earth import to_earth, to_plane
from fieldctl.site.files import read_site
from fieldctl.site.model import Axis, Origin, Place, Site, Zone
from fieldctl.site.survey import ROWS_MOST, Known, SurveyText, as_toml, read_survey
from fieldctl.tomlfile import SIZE_LIMIT

ORIGIN = Origin(10.0, 20.0, 1500.0)
UPPER = Zone("upper", "Upper", ((0, 0), (100, 0), (100, 100), (0, 100)))
LOWER = Zone("lower", "Lower", ((0, -100), (100, -100), (100, -1), (0, -1)))
ONE = Place("5ee00001", "Larch 1", "upper", 10, 10, 1.1, Axis(10, 20), 0.3, 2.0, datetime.date(2025, 11, 1), link="bus")
KNOWN = Known(ORIGIN, (UPPER, LOWER), {ONE.target: ONE})


def read(name: str, text: str, known: Known = KNOWN) -> tuple[Place, ...]:
    return read_survey(SurveyText(name, text), known)


def faults(name: str, text: str, known: Known = KNOWN) -> list[Fault]:
    with pytest.raises(FileFaults) as caught:
        read(name, text, known)
    return list(caught.value.faults)


def geojson(*features: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1)


def point(lon: object, lat: object, **properties: object) -> dict[str, object]:
    return {"type": "Feature", "properties": properties, "geometry": {"type": "Point", "coordinates": [lon, lat]}}


def gpx(inner: str, head: str = "") -> str:
    return (
        f'<?xml version="1.0"?>\n{head}<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"{inner}\n</gpx>\n"
    )


EXPECTED = Place(
    "5ee00002", "Larch 2", "upper", 30.0, 40.0, 1.4, Axis(90, 60), 0.5, None, datetime.date(2026, 1, 31), "csv"
)


def test_plain_metres() -> None:
    text = (
        "target,name,x_m,y_m,depth_m,azimuth_deg,tilt_deg,plus_minus_m,zone\n"
        "# a comment\n\n5EE00002, Larch 2 ,30,40,1.4,90,60,0.5,upper\n"
    )
    assert read("s/2026-01-31.csv", text) == (replace(EXPECTED, source="s/2026-01-31.csv"),)


def test_a_spreadsheet_with_semicolons_and_decimal_commas() -> None:
    head = "target;name;x_m;y_m;depth_m;azimuth_deg;tilt_deg;plus_minus_m;zone\r\n"
    text = head + "5ee00002;Larch 2;30,0;40,0;1,4;90;60;0,5;upper\r\n"
    assert read("2026-01-31.csv", text) == (replace(EXPECTED, source="2026-01-31.csv"),)


def test_geojson_has_the_longitude_first() -> None:
    lat, lon = to_earth(ORIGIN, 30, 40)
    more = {"depth_m": 1.4, "azimuth_deg": 90, "tilt_deg": 60, "plus_minus_m": 0.5, "zone": None}
    text = geojson(point(lon, lat, target="5ee00002", name="Larch 2", colour="red", **more))
    (place,) = read("2026-01-31.geojson", text)
    assert (place.x_m, place.y_m) == (pytest.approx(30, abs=1e-6), pytest.approx(40, abs=1e-6))
    assert replace(place, x_m=30.0, y_m=40.0) == replace(EXPECTED, method="geojson", source="2026-01-31.geojson")


@pytest.mark.parametrize(
    "more",
    [
        "<extensions><f:depth_m xmlns:f='urn:x'>1.4</f:depth_m><f:azimuth_deg xmlns:f='urn:x'>90</f:azimuth_deg>"
        "<tilt_deg>60</tilt_deg><plus_minus_m>0.5</plus_minus_m><target>5ee00002</target></extensions>",
        '<desc>buried by two, target=5ee00002 depth_m=1.4 azimuth_deg=90 tilt_deg=60 plus_minus_m="0.5"</desc>',
    ],
)
def test_gpx_waypoints(more: str) -> None:
    lat, lon = to_earth(ORIGIN, 30, 40)
    text = gpx(f'<wpt lat="{lat!r}" lon="{lon!r}"><time>2026-01-31T10:00:00Z</time><name>Larch 2</name>{more}</wpt>')
    (place,) = read("walk.gpx", text)
    assert (place.x_m, place.y_m) == (pytest.approx(30, abs=1e-6), pytest.approx(40, abs=1e-6))
    assert replace(place, x_m=30.0, y_m=40.0) == replace(EXPECTED, method="gpx", source="walk.gpx")


def test_what_a_survey_leaves_out_stays_as_it_was_known() -> None:
    (place,) = read("2026-01-31.csv", "name,x_m,y_m\nLarch 1,20,21\n")
    assert place == replace(
        ONE,
        x_m=20.0,
        y_m=21.0,
        plus_minus_m=0.5,
        surveyed_on=datetime.date(2026, 1, 31),
        method="csv",
        link="",
        source="2026-01-31.csv",
        depth_on=datetime.date(2025, 11, 1),
    )


def test_a_new_depth_does_not_keep_the_old_snow() -> None:
    (place,) = read("2026-01-31.csv", "name,x_m,y_m,depth_m\nLarch 1,20,21,1.9\n")
    assert (place.depth_m, place.snow_m) == (1.9, None)


def test_a_hand_held_receiver_is_trusted_to_five_metres() -> None:
    lat, lon = to_earth(ORIGIN, -3, 40)  # three metres outside the zone
    (place,) = read("2026-01-31.geojson", geojson(point(lon, lat, name="Larch 1")))
    assert place.plus_minus_m == 5.0


def test_a_later_survey_builds_on_the_one_before() -> None:
    head = 'name = "h"\ntitle = "H"\n[[zone]]\nname = "upper"\n'
    first = SurveyText("2026-01-01.csv", "target,x_m,y_m,depth_m,zone\n5ee00009,1,2,1.5,upper\n")
    second = SurveyText("2026-01-02.csv", "target,x_m,y_m\n5ee00009,3,4\n")
    site = read_site(head, "site.toml", (first, second))
    assert [(p.x_m, p.depth_m, p.zone) for p in site.places] == [(3.0, 1.5, "upper")]
    assert len(site.history) == 1


CSV_FAULTS = [
    ("target,x_m,y_m,depth_m\n5ee00001,1,x,1\n", 2, "row[1].y_m", "text: 'x'"),
    ("target,x_m,y_m,depth_m\n5ee00001,1,,1\n", 2, "row[1].y_m", "missing"),
    ("target,x_m,y_m,depth_m\n5ee00001,1,inf,1\n", 2, "row[1].y_m", "inf"),
    ("target,x_m,y_m,depth_m\n5ee00001,1,1,1,9\n", 2, "(the row)", "5 cells"),
    ("target,x_m,y_m,depth\n5ee00001,1,1,1\n", 2, "row[1].depth", "did you mean depth_m"),
    ("target,x_m,y_m,depth_m\n5ee00001,1,1,-1\n", 2, "row[1].depth_m", "outside 0 to 10"),
    ("target,x_m,y_m,depth_m\n\n5ee0000,1,1,1\n", 3, "row[1].target", "no target id"),
    ("name,x_m,y_m,depth_m\nLarsh 1,1,1,1\n", 2, "row[1].target", "did you mean 'Larch 1'"),
    ("x_m,y_m,depth_m\n1,1,1\n", 2, "row[1].target", "missing"),
    ("target,x_m,y_m,depth_m\n5ee00001,1,1,1\n5ee00001,1,1,1\n", 3, "row[2].target", "second time"),
    ("target,x_m,y_m,zone\n5ee00001,1,1,uper\n", 2, "row[1].zone", "did you mean 'upper'"),
    ("target,x_m,y_m\n5ee00001,1,-50\n", 2, "row[1].x_m", "50.0 m outside zone upper"),
    ("target,x_m,y_m\n5ee00003,1,10\n", 2, "row[1].depth_m", "missing"),
    ("target,x_m,y_m,depth_m\n5ee00003,1,500,1\n", 2, "row[1].zone", "no zone's outline"),
    ("target,name,x_m,y_m,depth_m\n5ee00003,Larch 1,1,5,1\n", 2, "row[1].name", "another target"),
    ("target,x_m,y_m,surveyed_on\n5ee00001,1,1,soon\n", 2, "row[1].surveyed_on", "isoformat"),
    ('target,x_m,y_m\n5ee00001,"1,1\n', 2, "(the row)", "not CSV"),
    ("", 1, "(the file)", "nothing"),
    ("# only this\n", 1, "(the file)", "nothing"),
]


@pytest.mark.parametrize(("text", "line", "key", "wrong"), CSV_FAULTS)
def test_faults_of_plain_metres(text: str, line: int, key: str, wrong: str) -> None:
    (fault,) = faults("2026-01-31.csv", text)
    assert (fault.file, fault.line, fault.key) == ("2026-01-31.csv", line, key)
    assert wrong in fault.wrong
    assert fault.expected
    assert fault.remedy


@pytest.mark.parametrize("name", ["walk.csv", "2026-02-31.csv"])
def test_a_survey_without_a_day_is_a_fault(name: str) -> None:
    (fault,) = faults(name, "target,x_m,y_m\n5ee00001,1,1\n")
    assert fault.key == "row[1].surveyed_on"
    assert "which day" in fault.wrong


def test_degrees_need_an_origin() -> None:
    nowhere = replace(KNOWN, origin=None)
    assert "no origin" in faults("2026-01-31.gpx", gpx(""), nowhere)[0].wrong
    assert "no origin" in faults("2026-01-31.geojson", geojson(), nowhere)[0].wrong


@pytest.mark.parametrize(
    ("feature", "key", "wrong"),
    [
        (point(10, 20, name="Larch 1"), "features[1].lat", "km from the origin"),  # the wrong way round
        (point("10", None, name="Larch 1"), "features[1].lat", "NoneType"),
        (point(20, 95, name="Larch 1"), "features[1].lat", "outside"),
        ({"type": "Feature", "geometry": None}, "features[1].geometry", "no Point"),
        ({"type": "Feature", "geometry": {"type": "Point", "coordinates": 5}}, "features[1].geometry", "no Point"),
        (
            {"type": "Feature", "geometry": {"type": "LineString", "coordinates": []}},
            "features[1].geometry",
            "no Point",
        ),
        (5, "features[1].geometry", "no Point"),
        (point(20, 10, name="Larch 1", depth=1), "features[1].depth", "did you mean depth_m"),
        (point(20, 10, name="Larch 1", depth_m="deep"), "features[1].depth_m", "text"),
        (point(20, 10, target=5), "features[1].target", "a number"),
    ],
)
def test_faults_of_geojson(feature: object, key: str, wrong: str) -> None:
    (fault,) = faults("2026-01-31.geojson", geojson(feature))
    assert fault.key == key
    assert wrong in fault.wrong
    assert fault.line == 4


@pytest.mark.parametrize(
    ("text", "line", "wrong"),
    [
        ('{"type":\n 1,,', 2, "not JSON"),
        ("[" * 100_000, 0, "nested too deeply"),
        ('{"type": "Feature"}', 1, "no FeatureCollection"),
        ("[]", 1, "no FeatureCollection"),
        ('{"type": "FeatureCollection", "features": {}}', 1, "no FeatureCollection"),
    ],
)
def test_what_is_no_geojson(text: str, line: int, wrong: str) -> None:
    (fault,) = faults("2026-01-31.geojson", text)
    assert fault.line == line
    assert wrong in fault.wrong


BOMB = '<!DOCTYPE gpx [<!ENTITY a "ha">\n<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>\n'


@pytest.mark.parametrize(
    ("text", "line", "wrong"),
    [
        (gpx("&b;", BOMB), 2, "document type"),
        (gpx("", '<!DOCTYPE gpx SYSTEM "http://127.0.0.1/x.dtd">\n'), 2, "document type"),
        (gpx("&undefined;"), 3, "undefined entity"),
        (gpx("<wpt>"), 4, "mismatched tag"),
        ("", 1, "no element found"),
        ("<kml/>", 1, "outermost element is <kml>"),
        (gpx("<a>" * 50 + "</a>" * 50), 3, "nested too deeply"),
    ],
)
def test_what_is_no_gpx(text: str, line: int, wrong: str) -> None:
    (fault,) = faults("2026-01-31.gpx", text)
    assert fault.line == line
    assert wrong in fault.wrong


def test_faults_of_gpx_waypoints() -> None:
    text = gpx('<wpt lat="x" lon="20"><name>Larch 1</name></wpt>\n<wpt lon="20"><desc>depth=2</desc></wpt>')
    found = faults("2026-01-31.gpx", text)
    assert [(f.line, f.key) for f in found] == [
        (3, "wpt[1].lat"),
        (4, "wpt[2].lat"),
        (4, "wpt[2].target"),
        (4, "wpt[2].depth"),
    ]


def test_limits_of_a_survey() -> None:
    assert str(SIZE_LIMIT) in faults("2026-01-31.gpx", "x" * (SIZE_LIMIT + 1))[0].expected
    rows = "target,x_m,y_m,depth_m\n" + "".join(f"{n:08x},1,1,1\n" for n in range(1, ROWS_MOST + 2))
    assert f"{ROWS_MOST + 1} rows" in faults("2026-01-31.csv", rows)[0].wrong
    assert "no kind of survey" in faults("2026-01-31.kml", "")[0].wrong


def test_a_site_has_at_most_so_many_targets_with_its_surveys() -> None:
    rows = "target,x_m,y_m,depth_m,zone\n" + "".join(f"{n:08x},1,1,1,upper\n" for n in range(1, 258))
    with pytest.raises(FileFaults, match="257 targets"):
        read_site(
            'name = "h"\ntitle = "H"\n[[zone]]\nname = "upper"\n', "site.toml", (SurveyText("2026-01-01.csv", rows),)
        )


def test_the_way_back_reads_as_it_was() -> None:
    head = 'name = "h"\ntitle = "H"\n[[serial]]\nname = "bus"\nport = "x"\n[[zone]]\nname = "upper"\n'
    odd = replace(ONE, name='"\\ \x7f\té', note="# [x]", method="tape", source="site.toml")
    plain = replace(EXPECTED, axis=None, surveyed_on=None, method="", source="site.toml")
    site: Site = read_site(head + as_toml([odd, plain]))
    assert site.places == (odd, plain)


def test_earth_and_plane_are_each_other_turned_round() -> None:
    for x, y in [(0, 0), (1000, -700), (-15_000, 19_000)]:
        lat, lon = to_earth(ORIGIN, x, y)
        assert to_plane(ORIGIN, lat, lon) == (pytest.approx(x, abs=1e-6), pytest.approx(y, abs=1e-6))
