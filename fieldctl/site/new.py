"""Begin a site: a commented site.toml and four example drills, in an invented place. Overwrites nothing."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from importlib import resources

from fieldctl.errors import Refused

TEMPLATES = (
    "site.toml",
    "drills/one-burial.toml",
    "drills/three-in-sequence.toml",
    "drills/close-pair.toml",
    "drills/probe-line.toml",
)


def templates() -> Iterator[tuple[str, str]]:
    """The files that a new site begins with, as (path in the folder, text)."""
    root = resources.files("fieldctl.site").joinpath("templates")
    for name in TEMPLATES:
        yield name, root.joinpath(name).read_text(encoding="utf-8")


def new_site(folder: pathlib.Path) -> tuple[pathlib.Path, ...]:
    """Write the example site into a folder, which may not exist yet; Refused when any of its files is there already.

    Returns the files written, in order.
    """
    for part in (folder, folder / "drills"):
        if part.exists() and not part.is_dir():
            raise Refused(
                f"{part} is a file, not a folder.",
                expected="a new or empty folder for the site",
                remedy="Name another folder.",
            )
    there = [name for name in TEMPLATES if (folder / name).exists() or (folder / name).is_symlink()]
    if there:
        raise Refused(
            f"{folder} already holds {', '.join(there)}; nothing was written.",
            expected="a folder without a site",
            remedy="Name another folder, or move these files away first.",
        )
    written = []
    try:
        (folder / "drills").mkdir(parents=True, exist_ok=True)
        (folder / "surveys").mkdir(exist_ok=True)
        for name, text in templates():
            with (folder / name).open("x", encoding="utf-8", newline="\n") as file:  # x: never over what appeared since
                file.write(text)
            written.append(folder / name)
    except OSError as error:
        done = ", ".join(str(path) for path in written) or "nothing"
        raise Refused(
            f"{error.filename or folder} cannot be written: {error.strerror}. Written so far: {done}.",
            expected="a folder that this user may write to, with room",
            remedy="Mend that, or name another folder.",
        ) from None
    return tuple(written)
