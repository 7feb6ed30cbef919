"""Files that arrive in pieces: each piece is on the disk before it is answered for, and the part file says how far.

A connection that breaks, a worker that is killed or a machine that loses power costs at most the piece under way. An
upload belongs to the account that began it; nobody else meets it.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Protocol

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from ..media.files import storage_error
from ..models import Account, Upload
from . import folders

BLOCK_BYTES = 1 << 18
KEPT_DAYS = 14
MOST_AT_ONCE = 400  # a table of recordings with their transcripts comes at once


class Stream(Protocol):
    def read(self, size: int, /) -> bytes: ...


class NotTaken(Exception):
    """A piece or a file cannot be taken, in words. `arrived`: how many bytes are here."""

    def __init__(self, message: str, arrived: int = 0, full: bool = False) -> None:
        super().__init__(message)
        self.message, self.arrived, self.full = message, arrived, full


@dataclass(frozen=True)
class Arriving:
    """An upload as its owner sees it."""

    ref: str
    original_name: str
    size_bytes: int
    arrived_bytes: int

    @property
    def is_here(self) -> bool:
        return self.arrived_bytes == self.size_bytes

    @property
    def share(self) -> float:
        return self.arrived_bytes / self.size_bytes if self.size_bytes else 0.0


def begin(account: Account, original_name: str, size_bytes: int) -> Arriving:
    """Make room for a file. The same name and size again is the upload that was begun before."""
    name = Path(original_name).name[:255]
    _check_size(size_bytes)
    row = Upload.ungated.filter(account=account, original_name=name, size_bytes=size_bytes).first()
    if row is None:
        if Upload.ungated.filter(account=account).count() >= MOST_AT_ONCE:
            words = _("%(count)d of your uploads wait to be taken in already. Finish or drop some of them first.")
            raise NotTaken(words % {"count": MOST_AT_ONCE})
        row = Upload.ungated.create(account=account, original_name=name, size_bytes=size_bytes)
    return _shown(row)


def _check_size(size_bytes: int) -> None:
    if size_bytes < 1:
        raise NotTaken(_("The file is empty (0 bytes). Copy it from the recorder again."))
    if size_bytes > settings.MAX_MASTER_BYTES:
        raise NotTaken(_("The file is larger than %(size)d MB, the most this archive takes (UNDERSKY_MAX_MASTER_MB).")
                       % {"size": settings.MAX_MASTER_BYTES >> 20})


def mine(account: Account) -> list[Arriving]:
    return [_shown(row) for row in Upload.ungated.filter(account=account)]


def get(account: Account, ref: str) -> Arriving | None:
    row = Upload.ungated.filter(account=account, ref=ref).first()
    return _shown(row) if row is not None else None


def _shown(row: Upload) -> Arriving:
    return Arriving(row.ref, row.original_name, row.size_bytes, _arrived(row.ref))


def _arrived(ref: str) -> int:
    try:
        return folders.part_path(ref).stat().st_size
    except FileNotFoundError:
        return 0


def append(account: Account, ref: str, offset: int, stream: Stream, size: int) -> Arriving:
    """Add a piece of `size` bytes that begins at `offset`, which must be where the file ends now.

    A piece that does not arrive whole leaves what came before it. NotTaken says where to go on.
    """
    row = Upload.ungated.filter(account=account, ref=ref).first()
    if row is None:
        raise NotTaken(_("There is no such upload. Choose the file again."))
    path = folders.part_path(ref)
    with folders.held(path.with_suffix(".lock")):
        _check_piece(row, offset, size, _arrived(ref))
        try:
            _write(path, offset, stream, size)
        except OSError as error:
            raise NotTaken(storage_error(error).message, _arrived(ref), full=True) from error
    row.save(update_fields=["touched_at"])
    return _shown(row)


def _check_piece(row: Upload, offset: int, size: int, arrived: int) -> None:
    if offset != arrived:
        raise NotTaken(_("The file is here up to byte %(arrived)d. Go on from there.") % {"arrived": arrived}, arrived)
    if offset + size > row.size_bytes:
        raise NotTaken(_("More bytes come than the file was said to have. Choose it again."), arrived)


def _write(path: Path, offset: int, stream: Stream, size: int) -> None:
    """Write a piece and wait until the disk has it; anything less is taken back. Nothing is buffered on the way."""
    with path.open("ab", buffering=0) as file:
        try:
            for block in _blocks(stream, size):
                left = memoryview(block)
                while left:
                    left = left[file.write(left) :]
            os.fsync(file.fileno())
        except BaseException:
            os.truncate(path, offset)
            raise


def _blocks(stream: Stream, size: int) -> Iterator[bytes]:
    left = size
    while left > 0:
        block = stream.read(min(BLOCK_BYTES, left))
        if not block:
            raise OSError(None, _("the connection broke off"))
        left -= len(block)
        yield block


def keep(account: Account, original_name: str, path: Path) -> Arriving:
    """Keep a file that has arrived whole by other means, so that it need not be sent again. Raises NotTaken."""
    _check_size(path.stat().st_size)
    row = Upload.ungated.create(
        account=account, original_name=Path(original_name).name[:255], size_bytes=path.stat().st_size
    )
    target = folders.part_path(row.ref)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _link_or_copy(path, target)
    except OSError as error:
        row.delete()
        raise NotTaken(storage_error(error).message, full=True) from error
    return _shown(row)


def _link_or_copy(path: Path, target: Path) -> None:
    """Give a file a second name; copy it where the two folders lie on different disks. The disk has it afterwards."""
    try:
        os.link(path, target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        shutil.copyfile(path, target)
    with target.open("rb") as file:
        os.fsync(file.fileno())


def drop(account: Account, ref: str) -> bool:
    """Forget an upload and its bytes."""
    gone, _rows = Upload.ungated.filter(account=account, ref=ref).delete()
    if gone:
        _unlink(ref)
    return bool(gone)


def _unlink(ref: str) -> None:
    for ending in (".part", ".lock"):
        folders.part_path(ref).with_suffix(ending).unlink(missing_ok=True)


def sweep(days: int = KEPT_DAYS) -> int:
    """Forget uploads nobody has touched for so long, and part files that belong to none."""
    old = Upload.ungated.filter(touched_at__lt=timezone.now() - timedelta(days=days))
    gone = [row.ref for row in old]
    old.delete()
    kept = set(Upload.ungated.values_list("ref", flat=True))
    for path in folders.part_path("x").parent.glob("*.part"):
        if path.stem not in kept:
            gone.append(path.stem)
    for ref in gone:
        _unlink(ref)
    return len(set(gone))

