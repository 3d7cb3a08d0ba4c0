"""Entries that were found sound, kept between runs: reading thousands of files again takes seconds, this takes a blink.

The store is a pickle in the user's own cache folder, and is used only when that folder belongs to the user and nobody else
can write there.  Anything odd about it means reading the entries afresh; it never decides what is right.
"""

import hashlib
import os
import pickle
import stat
import sys
import tempfile
from pathlib import Path

from .check import check
from .findings import Finding
from .load import Entries


def sound(root: Path) -> tuple[Entries, list[Finding]]:
    """As `check`, from the store when no file has changed since. TELLMARK_CACHE=off reads afresh. Raises BadInput."""
    place = _place(root)
    if place is None:
        return check(root)
    mark = fingerprint(root)
    kept = _kept(place, mark)
    if kept is not None:
        return kept, []
    entries, findings = check(root)
    if not findings and fingerprint(root) == mark:
        _keep(place, mark, entries)
    return entries, findings


def fingerprint(root: Path) -> str:
    """A digest of every file's path, size and time of change, and of the code that reads them."""
    seen: list[str] = [sys.version, *_stats(Path(__file__).parent), *_stats(root)]
    return hashlib.sha256("\n".join(seen).encode("utf-8", "surrogateescape")).hexdigest()


def _stats(folder: Path) -> list[str]:
    found: list[str] = []
    for place, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith((".", "__"))]
        for name in names:
            path = os.path.join(place, name)  # noqa: PTH118 (thousands of them)
            try:
                one = os.stat(path)  # noqa: PTH116
            except OSError:
                continue
            found.append(f"{path}\0{one.st_size}\0{one.st_mtime_ns}")
    return sorted(found)


def _place(root: Path) -> Path | None:
    """The store for this folder; None when there can be none."""
    if os.environ.get("TELLMARK_CACHE") == "off" or not hasattr(os, "getuid"):
        return None
    try:
        folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "tellmark"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        owner = folder.stat()
    except (OSError, RuntimeError):
        return None
    if owner.st_uid != os.getuid() or owner.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return None
    return folder / (hashlib.sha256(str(root.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:32] + ".pickle")


def _kept(place: Path, mark: str) -> Entries | None:
    try:
        with place.open("rb") as file:
            if file.read(len(mark)).decode("ascii", "replace") != mark:
                return None
            entries = pickle.load(file)
    except Exception:  # noqa: BLE001 (whatever a damaged store raises, the entries are read afresh)
        return None
    return entries if isinstance(entries, Entries) else None


def _keep(place: Path, mark: str, entries: Entries) -> None:
    """Writes beside and renames, so that a reader never sees half a store."""
    try:
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as file:
            file.write(mark.encode("ascii"))
            pickle.dump(entries, file, protocol=pickle.HIGHEST_PROTOCOL)
        Path(file.name).replace(place)
    except OSError:
        return
