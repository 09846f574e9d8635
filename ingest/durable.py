"""Writing so that what was acknowledged survives a power cut: fsync the bytes, then the name."""

from __future__ import annotations

import os
from pathlib import Path


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
    temporary = path.with_name(f".{path.name}.tmp")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o644)
    try:
        written = 0
        while written < len(data):
            written += os.write(handle, data[written:])
        os.fsync(handle)
    finally:
        os.close(handle)
    temporary.replace(path)


def replace_durably(path: Path, data: bytes) -> None:
    """Replace a small file so that either the old or the new content is found after a power cut."""
    write_new(path, data)
    fsync_folder(path.parent)
