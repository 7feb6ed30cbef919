"""Files written whole or not at all, and their SHA-256 (FIPS 180-4)."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

from .errors import MediaError

_BLOCK_BYTES = 1 << 20
_MODE = 0o640
"""Readable by the group too, so that a web server may hand files out; by nobody else."""


class Received(NamedTuple):
    """An upload that is safely on disk: where, its SHA-256 in hex, its size in bytes."""

    path: Path
    sha256: str
    size: int


def sha256_file(path: Path | str) -> str:
    """Return the SHA-256 of a file in hex, reading it once in 1 MiB blocks."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def whole_file(path: Path | str, durable: bool = True) -> Iterator[IO[bytes]]:
    """Open a hidden temporary file beside `path`; on a clean exit flush it to disk and rename it into place.

    On any error the temporary file is removed and `path` stays as it was. A full disk raises
    MediaError("disk_full"), any other trouble of the file system MediaError("storage"). With durable=False the
    disk is not waited for: for files that can be checked and made again.
    """
    path = Path(path)
    with _arriving(path.parent) as file:
        yield file
        _settle(file, path, durable)


def _settle(file: IO[bytes], path: Path, durable: bool = True) -> None:
    """Give a temporary file its name, after its bytes are on the disk and before anyone can see a part of it."""
    os.fchmod(file.fileno(), _MODE)
    file.flush()
    if durable:
        os.fsync(file.fileno())
    os.replace(file.name, path)
    if durable:
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make a rename in this folder outlive a power cut (POSIX: the folder is a file of its own)."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def storage_error(error: OSError) -> MediaError:
    """Turn an error of the file system into words."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return MediaError("The disk is full. Nothing was saved. Free some space and try again.", "disk_full")
    reason = error.strerror or str(error)
    return MediaError(f"The file could not be written or read ({reason}). Nothing was saved.", "storage")


def remove_leftovers(folder: Path | str, older_than_s: float = 86_400) -> int:
    """Remove what a crash or power cut left half-done in `folder` and below; return how many things went.

    Only this package's hidden temporary files and chunk folders, and only once they are a day old, so that work
    still going on is left alone.
    """
    gone, newest_s = 0, time.time() - older_than_s
    for path in [*Path(folder).rglob(".part-*"), *Path(folder).rglob(".chunks-*")]:
        if path.exists() and path.stat().st_mtime <= newest_s:
            shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
            gone += 1
    return gone


def receive(stream_chunks: Iterable[bytes], destination_dir: Path | str) -> Received:
    """Stream an upload to `destination_dir`, under its own SHA-256 as name, whole or not at all.

    The name a person gave the file never touches the disk. A second upload of the same bytes ends in the same file.
    """
    digest, size = hashlib.sha256(), 0
    folder = Path(destination_dir)
    with _arriving(folder) as file:
        for block in stream_chunks:
            digest.update(block)
            size += len(block)
            file.write(block)
        if size == 0:
            raise MediaError("The file is empty (0 bytes). Choose the file again and send it once more.", "empty")
        path = folder / digest.hexdigest()
        _settle(file, path)
    return Received(path, digest.hexdigest(), size)


@contextmanager
def _arriving(folder: Path) -> Iterator[IO[bytes]]:
    """Open a temporary file in `folder`; remove it on any error, and put errors of the file system in words."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = tempfile.NamedTemporaryFile(dir=folder, prefix=".part-", delete=False)  # noqa: SIM115
    except OSError as error:
        raise storage_error(error) from error
    try:
        with file:
            yield file
    except BaseException as error:
        Path(file.name).unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise storage_error(error) from error
        raise


def blocks_of(path: Path | str, start: int = 0, size: int | None = None) -> Iterator[bytes]:
    """Yield the bytes of a file from `start`, at most `size` of them, in blocks of at most 1 MiB."""
    with open(path, "rb") as file:
        file.seek(start)
        left = os.fstat(file.fileno()).st_size - start if size is None else size
        while left > 0 and (block := file.read(min(_BLOCK_BYTES, left))):
            left -= len(block)
            yield block
