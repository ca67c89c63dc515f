"""Digests of shared files: read once, right when the file changes."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from dewpond.base import digests
from dewpond.base.digests import digests_kept_in, file_digest, files_of
from dewpond.base.threads import usable_threads


def aged(path: Path, content: bytes, seconds: int) -> Path:
    path.write_bytes(content)
    os.utime(path, (seconds, seconds))
    return path


def test_it_is_the_sha_256(tmp_path: Path) -> None:
    path = aged(tmp_path / "a", b"abc", 1_000)
    # FIPS 180-4, example of the one-block message "abc" (value from memory).
    assert file_digest(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_large_file_is_read_once_and_again_when_it_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = aged(tmp_path / "big", b"x" * (2 << 20), 1_000)
    kept = tmp_path / "kept"
    kept.mkdir()
    reads = []
    read = digests._read
    monkeypatch.setattr(digests, "_read", lambda path: reads.append(path) or read(path))
    with digests_kept_in(kept):
        first = file_digest(path)
        assert file_digest(path) == first
        monkeypatch.setattr(digests, "_known", {})  # as another process
        assert file_digest(path) == first
        assert len(reads) == 1
        aged(path, b"y" * (2 << 20), 2_000)
        assert file_digest(path) == hashlib.sha256(path.read_bytes()).hexdigest() != first
        assert len(reads) == 2


def test_a_file_still_being_written_is_read_each_time(tmp_path: Path) -> None:
    path = tmp_path / "fresh"
    path.write_bytes(b"one")
    stamp = path.stat().st_mtime_ns
    assert file_digest(path) == hashlib.sha256(b"one").hexdigest()
    path.write_bytes(b"two")
    os.utime(path, ns=(stamp, stamp))  # the same tick of the clock, the same size
    assert file_digest(path) == hashlib.sha256(b"two").hexdigest()


def test_files_of_a_source(tmp_path: Path) -> None:
    for name in ("a.shp", "a.dbf", "a.prj", "a.txt", "ab.shp", "tile.tif", "tile.tfw"):
        (tmp_path / name).write_bytes(b"-")
    assert [path.name for path in files_of(tmp_path / "a.shp")] == ["a.dbf", "a.prj", "a.shp"]
    (tmp_path / "all.vrt").write_text(
        '<VRTDataset><SourceFilename relativeToVRT="1">tile.tif</SourceFilename>'
        '<SourceFilename relativeToVRT="1">all.vrt</SourceFilename></VRTDataset>'
    )
    assert [path.name for path in files_of(tmp_path / "all.vrt")] == [
        "all.vrt", "tile.tfw", "tile.tif",
    ]  # fmt: skip
    assert files_of(tmp_path / "none.tif") == []


@pytest.mark.parametrize(("said", "threads"), [("1", 1), ("3,2", 3), ("", None), ("no", None)])
def test_threads_are_those_allowed(
    said: str, threads: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", said)
    assert usable_threads() == (threads or os.cpu_count())
