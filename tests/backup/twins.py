"""A simulated field whose site lies on file, and its twin: another controller, on what was restored from a backup."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from kit import Story, field

from fieldctl.backup.create import Made, create
from fieldctl.backup.restore import Restored, restore
from fieldctl.events import Fact
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime
from sims.field import SITE_KEY, Field

PASSPHRASE = "four invented words here"
SALT = bytes(range(23))
LEDGER = "ledger.sqlite"


def site_text(made: Field) -> str:
    """The site of a simulated field as its file would say it."""
    links = "".join(f'[[serial]]\nname = "{link.name}"\nport = "/dev/null"\n' for link in made.site.serial)
    links += "".join(f'[[mqtt]]\nname = "{link.name}"\nhost = "127.0.0.1"\n' for link in made.site.mqtt)
    link = (*made.site.serial, *made.site.mqtt)[0].name
    targets = "".join(
        f'[[target]]\nid = "{p.target}"\nname = "{p.name}"\nzone = "upper"\nx_m = {p.x_m}\ny_m = {p.y_m}\n'
        f'depth_m = {p.depth_m}\nlink = "{link}"\n'
        for p in made.site.places
    )
    head = f'name = "{made.site.name}"\ntitle = "{made.site.title}"\n'
    return f'{head}{links}[[zone]]\nname = "upper"\ntitle = "Upper hollow"\n{targets}'


def on_file(made: Field, folder: Path) -> None:
    """Give a fresh field a site's folder, with its key, drills and ledger."""
    (folder / "private").mkdir(parents=True, mode=0o700)
    shutil.copytree(made.folder / "drills", folder / "drills")
    (folder / "site.toml").write_text(site_text(made))
    key = folder / "private" / "site.key"
    key.write_text(SITE_KEY.hex() + "\n")
    key.chmod(0o600)
    ledger = Ledger.open(folder / LEDGER, inline=True, durable=False, clock=made.world.clock.now)
    ledger.append(list(made.ledger.facts()), at=HostTime(made.world.clock.boot, made.world.clock.now()))
    made.ledger.close()
    made.ledger, made.folder = ledger, folder


def back_up(made: Field, to: Path) -> Made:
    """A backup of the field as it is at this moment, beside its running controller."""
    return create(made.folder, to, PASSPHRASE, wall="2026-02-01T12:00:00.000Z", salt=SALT)


def twin_of(made: Field, backup: Path, to: Path) -> tuple[Field, Restored]:
    """The field as another machine sees it that was given the backup; its controller does not run yet."""
    clock = made.world.clock
    done = restore(backup, to, PASSPHRASE, at=HostTime(clock.boot, clock.now()), wall=None)
    ledger = Ledger.open(to / LEDGER, inline=True, durable=False, clock=clock.now)
    return replace(made, ledger=ledger, folder=to, life=None, links=[], crashed=[]), done


def tell_on_file(story: Story, folder: Path, *, serial: int = 0, air: int = 0, seed: int = 1) -> None:
    """Carry a story out on a field that lies in `folder`."""
    with field(seed, serial=serial, air=air) as made:
        on_file(made, folder)

        async def whole() -> None:
            await story(made)
            await made.kill()

        made.world.run(whole())
        assert made.crashed == []
        made.ledger.close()


def since(made: Field, seq: int, *kinds: type[Fact]) -> list[Fact]:
    """Facts of some kinds after an entry."""
    return list(made.ledger.facts(after_seq=seq, kinds=kinds))
