"""Entries that were found sound, kept between runs: reading thousands of files again takes seconds, this takes a blink.

The store is a pickle in the user's own cache folder, and is used only when that folder belongs to the user and nobody else
can write there.  Anything odd about it means reading the entries afresh; it never decides what is right.

A file counts as unchanged when its size and both of its times (of its content, and of the change itself, which no program
can set back) are what they were.  A clock ticks too slowly to tell two changes that follow closely: whatever was changed within
some seconds of being read is in doubt, and is compared by its content as well.  When some files have changed, only those are
read again; what must hold between records is then checked of all of them.
"""

import hashlib
import os
import pickle
import stat
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, cast

from pydantic import VERSION

from .findings import Finding
from .load import Entries, Known

T = TypeVar("T")
#: The code that reads entries.
HERE = Path(__file__).parent
#: Nanoseconds within which two changes may carry one time, on the file systems with the slowest clocks.
DOUBT = 2_500_000_000
#: What is unpacked at once; every other kind of record waits until somebody asks for it.
AT_ONCE = ("root", "about", "lost")
#: Where entries keep the mark of the store they are in.
MARK = "_mark"


class State(NamedTuple):
    """A file as it was: its size, when its content and when anything of it was changed, if it is a link; in doubt its digest."""

    size: int
    written: int
    changed: int
    link: bool
    digest: str = ""


@dataclass
class _Store:
    """What is kept: a mark of its own, every file as it was, and the fields of the entries, each packed by itself."""

    mark: str
    files: dict[str, State]
    packed: dict[str, bytes]


class _Stored(Entries):
    """Entries from the store: a field is unpacked when it is first asked for."""

    def __getattr__(self, name: str) -> Any:
        """Called for what is not there yet."""
        packed: dict[str, bytes] = self.__dict__.get("_packed", {})
        if name not in packed:
            raise AttributeError(name)
        setattr(self, name, pickle.loads(packed[name]))
        del packed[name]
        return self.__dict__[name]


def sound(root: Path) -> tuple[Entries, list[Finding]]:
    """As `check`, from the store when no file has changed since. TELLMARK_CACHE=off reads afresh. Raises BadInput."""
    place, code, since = _place(root), _code(), time.time_ns() - DOUBT
    if place is None:
        return _checked(root)
    store, known = fetched(place, code, _Store), None
    if store is not None:
        now = _files(root)
        same = {path for path, then in store.files.items() if path in now and _unchanged(root / path, then, now[path])}
        if len(same) == len(now) == len(store.files):
            _make_surer(root, place, code, store, since)
            return _unpacked(root, store), []
        known = Known(_unpacked(root, store), same)
    before = _in_doubt(root, since)
    entries, findings = _checked(root, known)
    if not findings and _in_doubt(root, since) == before:
        vars(entries)[MARK] = os.urandom(16).hex()
        keep(place, code, _Store(vars(entries)[MARK], before, _packed(entries)))
    return entries, findings


def _checked(root: Path, known: Known | None = None) -> tuple[Entries, list[Finding]]:
    from .check import check  # only where it is needed: loading it takes longer than the store

    return check(root, known=known)


def _packed(entries: Entries) -> dict[str, bytes]:
    names = [one.name for one in fields(Entries)]
    return {name: pickle.dumps(getattr(entries, name), protocol=pickle.HIGHEST_PROTOCOL) for name in names}


def _unpacked(root: Path, store: _Store) -> Entries:
    """The entries, found at this root now."""
    entries = _Stored.__new__(_Stored)
    vars(entries).update({name: pickle.loads(store.packed[name]) for name in AT_ONCE} | {"root": root})
    vars(entries)[MARK] = store.mark
    vars(entries)["_packed"] = {name: data for name, data in store.packed.items() if name not in AT_ONCE}
    return entries


# What has changed --------------------------------------------------------------------------------------------------------


def _files(root: Path) -> dict[str, State]:
    """Every file below the root but hidden ones."""
    found: dict[str, State] = {}
    waiting = [(str(root), "")]
    while waiting:
        folder, below = waiting.pop()
        with os.scandir(folder) as listed:
            for one in listed:
                if one.name.startswith((".", "__")):
                    continue
                if one.is_dir(follow_symlinks=False):
                    waiting.append((one.path, f"{below}{one.name}/"))
                else:
                    try:
                        seen = one.stat()
                    except OSError:
                        continue
                    found[below + one.name] = State(seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns, one.is_symlink())
    return found


def _in_doubt(root: Path, since: int) -> dict[str, State]:
    """Every file as it is, with a digest of those changed after `since` and of links, which may lead elsewhere any time."""
    files = _files(root)
    doubtful = [path for path, one in files.items() if one.link or max(one.written, one.changed) >= since]
    return files | {path: files[path]._replace(digest=_digest_of(root / path)) for path in doubtful}


def _unchanged(path: Path, then: State, now: State) -> bool:
    return then[:4] == now[:4] and (not then.digest or then.digest == _digest_of(path))


def _make_surer(root: Path, place: Path, code: str, store: _Store, since: int) -> None:
    """Writes the store anew without the digests that nobody needs any more, once its files were found unchanged."""
    if any(one.digest and not one.link and max(one.written, one.changed) < since for one in store.files.values()):
        files = _in_doubt(root, since)
        if files != store.files and {path: one[:3] for path, one in files.items()} == {
            p: one[:3] for p, one in store.files.items()
        }:
            keep(place, code, _Store(store.mark, files, store.packed))


def _digest_of(path: Path) -> str:
    """Of the content of a file; nothing for one that cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
    except OSError:
        return ""


def derived(entries: Entries, name: str, kind: type[T], make: Callable[[], T], code: Path = HERE) -> T:
    """What `make` makes of these entries and nothing else by the code in a folder, from the store if neither has changed since.

    Made afresh for entries that `sound` did not give, or that were not sound.  They must be as they were given.
    """
    place, mark = _place(entries.root), vars(entries).get(MARK)
    if place is None or mark is None:
        return make()
    place, mark = place.with_suffix(f".{name}.pickle"), _digest([mark, _code(), "" if code == HERE else _code(code)])
    kept = fetched(place, mark, kind)
    if kept is not None:
        return kept
    made = make()
    keep(place, mark, made)
    return made


def kept_values(root: Path, name: str) -> dict[str, object]:
    """What `keep_values` kept under this name by the same code: values that hold for good, whatever the entries say now."""
    place = _place(root)
    kept = fetched(place.with_suffix(f".{name}.pickle"), _code(), cast("type[dict[str, object]]", dict)) if place else None
    return kept or {}


def keep_values(root: Path, name: str, values: dict[str, object]) -> None:
    """Keeps values in the place of those kept before."""
    place = _place(root)
    if place:
        keep(place.with_suffix(f".{name}.pickle"), _code(), values)


def _code(folder: Path = HERE) -> str:
    """A digest of the code in a folder, and of what runs it."""
    return _digest([sys.version, VERSION, repr(sorted(_files(folder).items()))])


def fingerprint(root: Path) -> str:
    """A digest of every file's path, size and times of change, and of the code that reads them."""
    return _digest([_code(), str(root), repr(sorted(_files(root).items()))])


def _digest(seen: list[str]) -> str:
    return hashlib.sha256("\n".join(seen).encode("utf-8", "surrogateescape")).hexdigest()


def _place(root: Path) -> Path | None:
    """The store for this folder; None when there can be none."""
    return kept_beside(root, ".pickle")


def kept_beside(folder: Path, name: str) -> Path | None:
    """Where something about a folder is kept between runs, in a file whose name ends so; None when nothing can be."""
    if os.environ.get("TELLMARK_CACHE") == "off" or not hasattr(os, "getuid"):
        return None
    try:
        store = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "tellmark"
        store.mkdir(mode=0o700, parents=True, exist_ok=True)
        owner = store.stat()
    except (OSError, RuntimeError):
        return None
    if owner.st_uid != os.getuid() or owner.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return None
    return store / (hashlib.sha256(str(folder.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:32] + name)


def fetched(place: Path, mark: str, kind: type[T]) -> T | None:
    """What was kept there with this mark and is of this kind; None where there is nothing such, or it is damaged."""
    try:
        with place.open("rb") as file:
            if file.read(len(mark)).decode("ascii", "replace") != mark:
                return None
            value = pickle.load(file)
    except Exception:  # noqa: BLE001 (whatever a damaged store raises, the value is made afresh)
        return None
    whole = not is_dataclass(value) or {one.name for one in fields(value)} <= vars(value).keys()  # a stranger of the same name
    return value if isinstance(value, kind) and whole else None


def keep(place: Path, mark: str, value: object) -> None:
    """Keeps a value with a mark. Writes beside and renames, so that a reader never sees half a store."""
    try:
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as file:
            file.write(mark.encode("ascii"))
            pickle.dump(value, file, protocol=pickle.HIGHEST_PROTOCOL)
        Path(file.name).replace(place)
    except OSError:
        return
