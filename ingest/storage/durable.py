"""Writing so that what was acknowledged survives a power cut: flush the bytes, then the name."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

_MANY = 24
"""From so many files on, one flush of the whole file system is quicker than one of each file."""


def fsync_folder(folder: Path) -> None:
    """Make new, renamed and removed names of a folder durable; does nothing where that is not possible."""
    if os.name == "nt":  # a folder cannot be opened there; NTFS journals names itself
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_new(path: Path, data: bytes) -> None:
    """Write a whole file under a temporary name, fsync it and rename it; the caller fsyncs the folder."""
    _write(_temporary(path), data, flush=True)
    _temporary(path).replace(path)


def replace_durably(path: Path, data: bytes) -> None:
    """Replace a small file so that either the old or the new content is found after a power cut."""
    write_new(path, data)
    fsync_folder(path.parent)


def write_all(root: Path, files: Sequence[tuple[Path, bytes]]) -> None:
    """Write new files into folders under one root; returns when bytes and names are on the disk.

    A name appears only after its bytes are on the disk. Which names have appeared after a power cut in the
    middle is open.
    """
    folders = {path.parent for path, _ in files}
    together = len(files) >= _MANY and _syncfs() is not None
    names = [(str(_temporary(path)), str(path)) for path, _ in files]
    for (temporary, _), (_, data) in zip(names, files, strict=True):
        _write(temporary, data, flush=not together)
    if together:
        _flush_system(root)
    for temporary, name in names:
        os.replace(temporary, name)  # noqa: PTH105 - a path object for each of thousands of files takes longer
    if together:
        _flush_system(root)
    else:
        for folder in folders:
            fsync_folder(folder)


def _temporary(path: Path) -> Path:
    return path.with_name(f".{path.name}.tmp")


def _write(path: Path | str, data: bytes, flush: bool) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o644)
    try:
        written = 0
        while written < len(data):
            written += os.write(handle, data[written:])
        if flush:
            os.fsync(handle)
    finally:
        os.close(handle)


@cache
def _syncfs() -> Callable[[int], int] | None:
    """The system call that flushes one file system, where there is one."""
    if not sys.platform.startswith("linux"):
        return None
    return getattr(ctypes.CDLL(None, use_errno=True), "syncfs", None)


def _flush_system(folder: Path) -> None:
    """Flush everything written to the file system of a folder.

    Raises
    ------
    OSError
        The disk reported an error.
    """
    syncfs = _syncfs()
    assert syncfs is not None
    handle = os.open(folder, os.O_RDONLY)
    try:
        if syncfs(handle) != 0:
            code = ctypes.get_errno()
            raise OSError(code, os.strerror(code), str(folder))
    finally:
        os.close(handle)
