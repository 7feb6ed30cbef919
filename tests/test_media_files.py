"""Uploads and files: whole or not at all. Expected digests: hashlib, itself checked in tests/published."""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive.media import files
from archive.media.errors import MediaError
from archive.media.files import receive, sha256_file, whole_file


def blocks(count: int, fail_at: int | None = None, error: BaseException | None = None) -> Iterator[bytes]:
    for number in range(count):
        if number == fail_at and error is not None:
            raise error
        yield bytes([number % 251]) * 70_000


def test_an_upload_is_saved_under_its_own_digest(tmp_path: Path) -> None:
    expected = b"".join(blocks(5))
    got = receive(blocks(5), tmp_path / "masters")
    assert got.path == tmp_path / "masters" / hashlib.sha256(expected).hexdigest()
    assert got.path.read_bytes() == expected
    assert (got.sha256, got.size) == (hashlib.sha256(expected).hexdigest(), len(expected))
    assert sha256_file(got.path) == got.sha256


def test_the_same_upload_twice_is_one_file(tmp_path: Path) -> None:
    assert receive(blocks(3), tmp_path) == receive(blocks(3), tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(
    "error", [ConnectionResetError("gone"), KeyboardInterrupt(), ValueError("junk"), OSError(errno.EIO, "bad")]
)
def test_an_upload_that_breaks_leaves_nothing(tmp_path: Path, error: BaseException) -> None:
    with pytest.raises((type(error), MediaError)):
        receive(blocks(5, 3, error), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_told_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(MediaError, match="disk is full") as told:
        receive(blocks(2), tmp_path)
    assert told.value.code == "disk_full"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_the_kernels_own_full_device_gives_the_same_words() -> None:
    with open("/dev/full", "wb", buffering=0) as file, pytest.raises(OSError, match="space") as told:
        file.write(b"x")
    assert files.storage_error(told.value).code == "disk_full"


def test_an_empty_upload_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(MediaError) as told:
        receive([], tmp_path)
    assert told.value.code == "empty"
    assert list(tmp_path.iterdir()) == []


def break_half_way(path: Path) -> None:
    with whole_file(path) as file:
        file.write(b"half of the new")
        raise ZeroDivisionError


def test_a_file_keeps_its_old_bytes_when_writing_the_new_ones_fails(tmp_path: Path) -> None:
    path = tmp_path / "copy.m4a"
    path.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError):
        break_half_way(path)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_nobody_sees_a_part_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "copy.m4a"
    with whole_file(path) as file:
        file.write(b"some")
        file.flush()
        assert not path.exists()
    assert path.read_bytes() == b"some"


def test_others_cannot_read_a_file_but_the_group_can(tmp_path: Path) -> None:
    got = receive(blocks(1), tmp_path)
    assert got.path.stat().st_mode & 0o777 == 0o640


def test_blocks_are_a_stretch_of_the_file(tmp_path: Path) -> None:
    got = receive(blocks(40), tmp_path)
    whole = got.path.read_bytes()
    assert b"".join(files.blocks_of(got.path)) == whole
    assert b"".join(files.blocks_of(got.path, 1_000, 2_000_000)) == whole[1_000:2_001_000]
    assert max(map(len, files.blocks_of(got.path))) <= 1 << 20
