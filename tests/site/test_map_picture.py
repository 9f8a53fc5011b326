"""The map for the machine's cab: it says in words all that it shows, and is the same picture every time."""

from __future__ import annotations

import io

from PIL import Image

from fieldctl.site.map_picture import draw_map
from fieldctl.site.model import Place, Site, Stake, Zone
from fieldctl.units import TargetId

SITE = Site(
    "larch-hollow", "Larch Hollow", zones=(Zone("upper", "Upper <hollow>"),), stakes=(Stake("red post", 0, 0),),
    places=tuple(Place(TargetId(f"5ee0000{n}"), f"Larch {n}", "upper", 10.0 * n, 25.0, 1.0) for n in range(1, 4)),
)  # fmt: skip


def test_it_says_what_it_shows_and_is_drawn_the_same_twice() -> None:
    one, other = draw_map(SITE), draw_map(SITE)
    assert (one.svg, one.png) == (other.svg, other.png)
    for word in ("Upper <hollow>", "Larch 3 at x 30.0, y 25.0", "red post", "No grooming machines inside"):
        assert word in one.text
    assert "Upper &lt;hollow&gt;" in one.svg
    width, height = Image.open(io.BytesIO(one.png)).size
    assert height > width > 800


def test_an_empty_site_has_a_map_too() -> None:
    assert "Map of A" in draw_map(Site("a", "A")).text
