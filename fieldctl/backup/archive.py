"""What lies inside: a gzipped tar, `site/…` first and `manifest.json` last, written and read as a stream."""

from __future__ import annotations

import gzip
import hashlib
import io
import os
import shutil
import stat
import tarfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import IO, Self, cast

from fieldctl.backup import manifest as manifests
from fieldctl.backup.manifest import Manifest, Part
from fieldctl.backup.sealing import Opener, Sealer
from fieldctl.errors import BackupBroken, Refused

SITE = "site/"
MANIFEST = "manifest.json"
MANIFEST_MOST = 64 << 20  # bytes: some hundred thousand files
GZIP_LEVEL = 1  # a log shrinks to a fifth at 60 MB a second; level 6 gains a tenth and takes three times as long
COPY_BYTES = 1 << 18
DIGEST_BYTES = 32

Told = Callable[[str, int, int], None]
"""Told of progress: what is being done, bytes done, bytes in all."""


def nobody(_what: str, _done: int, _all: int) -> None:
    """Tells nobody."""


class ArchiveWriter:
    """Puts files into a sealed stream; `close` once the manifest is in. `told` hears of the bytes put in."""

    def __init__(self, sealer: Sealer, told: Callable[[int], None]) -> None:
        self._sealer = sealer
        self._gzip = gzip.GzipFile("", "wb", GZIP_LEVEL, cast(IO[bytes], sealer), mtime=0)
        self._tar = tarfile.TarFile.open(fileobj=self._gzip, mode="w|", format=tarfile.PAX_FORMAT)
        self._told = told
        self.parts: list[Part] = []

    def put(self, name: str, path: Path) -> None:
        """A file under its name in the site's folder; Refused where it changed while it was read."""
        with path.open("rb") as file:
            found = os.fstat(file.fileno())
            info = _info(SITE + name, found.st_size, stat.S_IMODE(found.st_mode), int(found.st_mtime))
            taken = _Hashed(file, found.st_size, self._told)
            try:
                self._tar.addfile(info, cast(IO[bytes], taken))
            except OSError as bad:
                if bad.errno is not None:  # without a number it is tarfile's word for a file that became shorter
                    raise
        if taken.left or path.stat().st_size != found.st_size:
            raise Refused(
                f"{path} changed while it was being read.",
                expected="files that stay as they are for a moment",
                remedy="Try again when nobody writes there. Nothing is left of this try.",
            )
        self.parts.append(Part(name, found.st_size, taken.digest()))

    def abandon(self) -> None:
        """Write no more: what tar and gzip still hold goes nowhere."""
        self._sealer.abandoned = True

    def close(self, manifest: Manifest) -> None:
        """Put the manifest behind everything else, and seal the end."""
        text = manifest.encode()
        self._tar.addfile(_info(MANIFEST, len(text), 0o600, 0), io.BytesIO(text))
        self._tar.close()
        self._gzip.close()
        self._sealer.finish()


def _info(name: str, size: int, mode: int, mtime: int) -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.size, info.mode, info.mtime = size, mode, mtime
    return info


class _Hashed:
    """Reads at most `left` bytes of a file, and hashes them."""

    def __init__(self, file: IO[bytes], left: int, told: Callable[[int], None]) -> None:
        self._file, self.left, self._told = file, left, told
        self._hash = hashlib.blake2b(digest_size=DIGEST_BYTES)

    def read(self, size: int) -> bytes:
        data = self._file.read(min(size, self.left))
        self.left -= len(data)
        self._hash.update(data)
        self._told(len(data))
        return data

    def digest(self) -> str:
        return self._hash.hexdigest()


class ArchiveReader:
    """Reads what a sealed stream holds, to its very end; BackupBroken for what `ArchiveWriter` does not write."""

    def __init__(self, opener: Opener) -> None:
        self._gzip = gzip.GzipFile(fileobj=cast(IO[bytes], opener), mode="rb")
        self.parts: list[Part] = []
        self.manifest: Manifest | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._gzip.close()

    def files(self, folder: Path | None) -> Iterator[Part]:
        """Each part as it comes, written below `folder` where one is given, mode 0600 until `settle`."""
        try:
            with tarfile.open(fileobj=self._gzip, mode="r|") as tar:
                for member in tar:
                    if self.manifest is not None or not member.isreg():
                        raise _odd(member.name)
                    source = tar.extractfile(member)
                    assert source is not None
                    if member.name == MANIFEST and member.size <= MANIFEST_MOST:
                        self.manifest = manifests.parse(source.read())
                    else:
                        yield self._take(member, source, folder)
            while self._gzip.read(COPY_BYTES):
                pass  # what pads the end is sealed as well
        except (tarfile.TarError, zlib.error, gzip.BadGzipFile, EOFError) as bad:
            raise _odd(f"{type(bad).__name__}: {bad}") from bad
        if self.manifest is None:
            raise _odd("it holds no list of its own")
        if list(self.manifest.parts) != self.parts:
            raise _odd("its files are not those of its list")

    def _take(self, member: tarfile.TarInfo, source: IO[bytes], folder: Path | None) -> Part:
        name = _safe(member.name)
        hashed = _Hashed(source, member.size, lambda _bytes: None)
        if folder is None:
            while hashed.read(COPY_BYTES):
                pass
        else:
            path = folder / name
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                shutil.copyfileobj(cast(IO[bytes], hashed), file, COPY_BYTES)
                file.flush()
                os.fchmod(handle, member.mode & 0o755 | 0o600 if not name.startswith("private/") else 0o600)
                os.fsync(handle)
        part = Part(name, member.size - hashed.left, hashed.digest())
        self.parts.append(part)
        return part


def _safe(name: str) -> str:
    """A path below the site's folder, or BackupBroken: a backup is no way to write anywhere else."""
    path = PurePosixPath(name.removeprefix(SITE))
    if not name.startswith(SITE) or path.is_absolute() or ".." in path.parts or not path.parts or "\0" in name:
        raise _odd(name)
    return path.as_posix()


def _odd(what: str) -> BackupBroken:
    return BackupBroken(
        f"The backup holds something that fieldctl never writes ({what}).",
        expected="the files of a site, and their list behind them",
        remedy="Take an earlier backup, and report this.",
    )
