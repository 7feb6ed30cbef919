"""The index on the disk: Whoosh keeps the words and where they stand; this module keeps it whole and up to date.

Beside each part of Whoosh's lies its piece (archive.search.pieces): as arrays; searches are answered from there.

In the index folder lie `current.json` (which folder is in use, and in which form it was written), one folder of
Whoosh files, a lock, and, while a new index is being built, `paid.log`: the items indexed meanwhile in the old one.

Whoosh's own searching is not used: its filter lets everything through when it is empty, and its statistics count what
the viewer does not meet. Only its postings are read; archive.search.ranking does the counting.
"""

from __future__ import annotations

import errno
import fcntl
import json
import logging
import os
import secrets
import shutil
import sys
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import IO, Any

import whoosh
from django.conf import settings
from whoosh import index as store
from whoosh.reading import SegmentReader

from ..access import indexing
from . import pieces, sheets
from .stock import Damaged, Stock

# Moved also when words get other sounds (timecode.sounds.phonetic_key): pieces hold them.
FORM = f"3 {whoosh.versionstring()}"
# Archives up to this many items and cues are indexed anew within the request that finds the index missing.
AT_ONCE = 5_000
MEMORY_MB = 128
SMALL_PART = 32
LARGE_PART_BYTES = 2 << 20  # a piece of about a quarter of a million words: more than a second to write again
MOST_PARTS = 40
# How long a page waits at each step for the thread that builds an index: by default ten times as long, so that a page
# of many steps would take seconds.
POLITE_S = 0.0005
# Troubles of the machine, not of the files: the index is left as it is.
PASSING = (errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.EACCES, errno.EIO)

Progress = Callable[[int, int], None]
log = logging.getLogger(__name__)


class NotReady(Exception):
    """There is no index to answer from now: it is being built, or the disk will not let it be brought up to date.

    Nothing is answered from an index that is behind: it could tell of words that were taken back.
    """


# --- places and locks ---


def _home() -> Path:
    home = Path(settings.INDEX)
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    return home


def _pointer() -> Path:
    return _home() / "current.json"


def _paid() -> Path:
    return _home() / "paid.log"


class _Turn:
    """One at a time over the threads and processes of this machine; taken twice by one thread it is one turn.

    The operating system gives the turn back when a process dies.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self._mine = threading.RLock()
        self._depth = 0
        self._file: IO[str] | None = None

    def take(self, wait: bool = True) -> bool:
        if not self._mine.acquire(blocking=wait):
            return False
        taken = False
        try:
            taken = self._depth > 0 or self._take_file(wait)
        finally:  # also where the folder cannot be written: the next one would wait for ever
            if not taken:
                self._mine.release()
        self._depth += taken
        return taken

    def _take_file(self, wait: bool) -> bool:
        file = (_home() / f"{self.name}.lock").open("w")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except OSError as error:
            file.close()
            if isinstance(error, BlockingIOError):
                return False
            raise
        self._file = file
        return True

    def give_back(self) -> None:
        self._depth -= 1
        if self._depth == 0 and self._file is not None:
            self._file.close()
        self._mine.release()

    def __enter__(self) -> None:
        self.take()

    def __exit__(self, *error: object) -> None:
        self.give_back()


_writing, _building = _Turn("index"), _Turn("build")


# --- what is in use ---

_held: tuple[tuple[int, ...], Stock] | None = None


def current() -> Stock:
    """The index as it stands, with all that is owed paid. Raises NotReady while a large one is being built."""
    try:
        if indexing.is_owed():
            pay()
        seen = _sign()
        held = _held
        if held is not None and held[0] == seen:
            return held[1]
        return _open_or_heal()
    except OSError as error:
        log.exception("the search index cannot be kept up; searching rests until the disk lets it")
        raise NotReady from error


def forget() -> None:
    """Drop what is kept in this process."""
    global _held
    _held = None


def _sign() -> tuple[int, ...]:
    """What changes whenever another process has written: read once a request."""
    try:
        found = os.stat(_pointer())
    except OSError:
        return ()
    return (found.st_ino, found.st_mtime_ns, found.st_size)


def _open_or_heal() -> Stock:
    stock = _open()
    if stock is None:
        heal()
        stock = _open()
    if stock is None:
        raise NotReady
    return stock


def _open() -> Stock | None:
    """The stock of the folder in use, or None where there is none that can be read."""
    global _held
    with _writing:
        seen = _sign()
        folder = _folder()
        if folder is None:
            return None
        try:
            stock = Stock.read(folder, _held[1] if _held else None)
        except Exception as error:  # whatever a half-written file may cause
            if isinstance(error, OSError) and error.errno in PASSING:
                raise
            log.warning("the search index cannot be read and will be built anew (%s)", repr(error))
            _pointer().unlink(missing_ok=True)
            return None
        _held = (seen, stock)
    return stock


def _folder() -> Path | None:
    try:
        told = json.loads(_pointer().read_text(encoding="utf-8"))
        folder = _home() / Path(str(told["folder"])).name
        form = told["form"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return folder if form == FORM and folder.is_dir() else None


def _point_to(folder: Path) -> None:
    """Put the folder in use, whole or not at all."""
    new = _home() / f"current.{secrets.token_hex(4)}"
    with new.open("w", encoding="utf-8") as handle:
        json.dump({"folder": folder.name, "form": FORM, "mark": secrets.token_hex(8)}, handle)
        handle.flush()
        os.fsync(handle.fileno())
    os.replace(new, _pointer())


# --- mending ---


def heal() -> None:
    """Build the index anew: at once where that is short, else in the background."""
    if indexing.size() <= AT_ONCE:
        _rebuild_if_missing()
    else:
        _build_in_background()


def _build_in_background(*, is_worn: bool = False) -> None:
    threading.Thread(target=_rebuild_in_background, args=[is_worn], daemon=True).start()


def _rebuild_if_missing() -> None:
    with _building:
        if _folder() is None:
            rebuild()


def _rebuild_in_background(is_worn: bool) -> None:
    from django.db import connection

    if not _building.take(wait=False):
        return  # another one is at it
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(POLITE_S)
    try:
        if is_worn:
            rebuild()
        else:
            _rebuild_if_missing()
    except Exception:
        log.exception("the search index could not be built; `manage.py reindex` says more")
    finally:
        sys.setswitchinterval(usual_s)
        _building.give_back()
        connection.close()


def found_damaged() -> None:
    """Called where reading the postings failed: what is in use is set aside, so that the next search heals it."""
    log.warning("the search index is damaged and will be built anew")
    with _writing:
        forget()
        _pointer().unlink(missing_ok=True)


def rebuild(progress: Progress | None = None) -> int:
    """Build a whole new index beside the old one, which answers meanwhile, and put it in use; returns its atoms."""
    with _building:
        folder = _home() / f"whoosh-{secrets.token_hex(4)}"
        folder.mkdir(mode=0o700)
        with _writing:
            _paid().write_text("", encoding="ascii")
        try:
            made = _build(folder, progress)
            with _writing:
                _write(folder, _paid_meanwhile())
                _point_to(folder)
                _paid().unlink(missing_ok=True)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        _sweep(folder)
        return made


def _build(folder: Path, progress: Progress | None) -> int:
    total, done = indexing.size(), 0
    writer = store.create_in(str(folder), sheets.schema()).writer(limitmb=MEMORY_MB, compound=False)
    try:
        for numbers in indexing.batches():
            for atoms in indexing.atoms_of(numbers).values():
                sheets.add(writer, atoms)
                done += len(atoms)
            if progress is not None:
                progress(min(done, total), total)
    except BaseException:
        writer.cancel()
        raise
    writer.commit()
    _make_pieces(folder)
    return done


def _make_pieces(folder: Path) -> None:
    index: Any = store.open_dir(str(folder))
    reader = index.reader()
    try:
        for part, _ in reader.leaf_readers():
            if part.doc_count_all():
                pieces.make(folder, part)
    finally:
        reader.close()


def _paid_meanwhile() -> list[int]:
    return sorted({int(line) for line in _paid().read_text(encoding="ascii").split()})


def _sweep(kept: Path) -> None:
    """Take away folders that are no longer in use; who still reads from one keeps its open files."""
    for folder in _home().glob("whoosh-*"):
        if folder != kept:
            shutil.rmtree(folder, ignore_errors=True)


# --- keeping up ---


def pay() -> None:
    """Index what is owed. Where no index stands the debt stays; building one takes everything in."""
    with _writing:
        folder = _folder()
        if folder is None:
            return
        with indexing.debts() as owed:
            if owed:
                _note_paid(owed)
                _write(folder, owed)


def _note_paid(numbers: Iterable[int]) -> None:
    if _paid().exists():
        with _paid().open("a", encoding="ascii") as handle:
            handle.writelines(f"{number}\n" for number in numbers)


def _write(folder: Path, numbers: list[int]) -> None:
    """Bring the atoms of these items in line; those that have not changed are left as they are."""
    stock = Stock.read(folder, _held[1] if _held else None)
    atoms = indexing.atoms_of(numbers)
    changed = [number for number in numbers if stock.mark_of(number) != sheets.mark(atoms[number])]
    if not changed:
        return
    writer = store.open_dir(str(folder)).writer(limitmb=MEMORY_MB, compound=False)
    try:
        for number in changed:
            for sheet in stock.sheets_of(number):
                writer.delete_document(int(sheet))
            sheets.add(writer, atoms[number])
    except BaseException:
        writer.cancel()
        raise
    writer.commit(mergetype=_merge)
    if _folder() == folder:
        _point_to(folder)
        if _is_worn(stock):
            _build_in_background(is_worn=True)


def _merge(writer: Any, parts: list[Any]) -> list[Any]:
    """Which parts of the index are kept as they are. The others go into the new part.

    A part is taken in when it is no larger than what has been gathered so far, so that there are never many, or when a
    quarter of it is deleted, so that words taken back do not stay on the disk. A large one is left: whoever made the
    change would wait for it.
    """
    kept, gathered = [], max(writer.doc_count(), SMALL_PART)
    for part in sorted(parts, key=lambda one: one.doc_count_all()):
        gone, whole = part.deleted_count(), part.doc_count_all()
        if (whole - gone > gathered and gone * 4 <= whole) or _is_large(writer, part):
            kept.append(part)
            continue
        reader = SegmentReader(writer.storage, writer.schema, part)
        writer.add_reader(reader)
        reader.close()
        gathered += whole - gone
    return kept


def _is_large(writer: Any, part: Any) -> bool:
    try:
        return pieces.path_of(Path(writer.storage.folder), part.segment_id()).stat().st_size > LARGE_PART_BYTES
    except FileNotFoundError:
        return False


def _is_worn(stock: Stock) -> bool:
    """Whether building anew is due: a quarter of the sheets are gone, or there are very many pieces."""
    stands = stock.sheet_stands
    return len(stock.pieces) > MOST_PARTS or (len(stands) > AT_ONCE and 4 * int((~stands).sum()) > len(stands))


__all__ = ["Damaged", "NotReady", "current", "forget", "found_damaged", "heal", "pay", "rebuild"]
