"""Entries that were found sound, kept between runs: reading thousands of files again takes seconds, this takes a blink.

The store is a pickle in the user's own cache folder, and is used only when that folder belongs to the user and nobody else
can write there.  Anything odd about it means reading the entries afresh; it never decides what is right.

A file counts as unchanged when its size and both of its times (of its content, and of the change itself, which no program
can set back) are what they were.  A clock ticks too slowly to tell two changes that follow closely: whatever was changed within
some seconds of being read is in doubt, and is compared by its content as well.  When some files have changed, only those are
read again, only what leaned on something in them is checked again (`kb.check`), and only what lies beside them is packed again.
A process that goes on has in mind what it has kept itself, as long as nobody else has written in its place.
"""

import hashlib
import os
import pickle
import stat
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, NamedTuple, TypeVar, cast

from pydantic import VERSION, BaseModel

from .findings import Finding
from .load import KINDS, Entries, Known, files_below
from .uncollected import uncollected

if TYPE_CHECKING:
    from .check import Checked, Unit
    from .leaning import Leaned

T = TypeVar("T")
#: The code that reads entries.
HERE = Path(__file__).parent
#: Nanoseconds within which two changes may carry one time, on the file systems with the slowest clocks.
DOUBT = 2_500_000_000
#: What is unpacked at once; every other kind of record waits until somebody asks for it.
AT_ONCE = ("about", "lost")
#: Where entries keep the mark of the store they are in, what that holds of them, and every file as it was read.
MARK, PIECES, FILES = "_mark", "_pieces", "_files"


class State(NamedTuple):
    """A file as it was: its size, when its content and when anything of it was changed, if it is a link; in doubt its digest."""

    size: int
    written: int
    changed: int
    link: bool
    digest: str = ""


#: The fields of entries, each as one piece or, where it holds records, by the folder or file that they lie in.
Packed = dict[str, dict[str, bytes]]


@dataclass
class _Store:
    """What is kept: a mark of its own, every file as it was, the fields of the entries, and what each check leaned on, packed.

    unpacked  the entries and what was leaned on, in the process that packed them
    """

    mark: str
    files: dict[str, State]
    packed: Packed
    leaned: bytes
    unpacked: "tuple[Entries, Mapping[Unit, Leaned]] | None" = None

    def __getstate__(self) -> dict[str, Any]:
        return vars(self) | {"unpacked": None}

    def known(self, root: Path) -> "tuple[Entries, Mapping[Unit, Leaned]]":
        """The entries, found at this root now, and what each check leaned on."""
        if self.unpacked and self.unpacked[0].root == root:
            return self.unpacked
        return _unpacked(root, self), pickle.loads(self.leaned)


class _Stored(Entries):
    """Entries from the store: a field is unpacked when it is first asked for."""

    def __getattr__(self, name: str) -> Any:
        """Called for what is not there yet."""
        packed: Packed = self.__dict__.get("_packed", {})
        if name not in packed:
            raise AttributeError(name)
        setattr(self, name, _unpacked_field(packed[name]))
        del packed[name]
        return self.__dict__[name]


def sound(root: Path) -> tuple[Entries, list[Finding]]:
    """As `check`, from the store when no file has changed since. TELLMARK_CACHE=off reads afresh. Raises BadInput."""
    place, code, since = _place(root), _code(), time.time_ns() - DOUBT
    with uncollected():
        if place is None:
            one = _checked(root)
            return one.entries, one.findings
        store, now, same = fetched(place, code, _Store), _files(root), set[str]()
        if store is not None:
            same = {path for path, then in store.files.items() if path in now and unchanged(root, path, then, now[path])}
            if len(same) == len(now) == len(store.files):
                return _unpacked(root, _made_surer(root, place, code, store, since)), []
        return _again(root, place, code, store, since, same, _with_digests(root, now, since))


def _again(
    root: Path, place: Path, code: str, store: _Store | None, since: int, same: set[str], before: dict[str, State]
) -> tuple[Entries, list[Finding]]:
    """As `sound`, where something has changed since the store was written; all but the files that are the `same`."""
    old, leaned = store.known(root) if store else (None, dict["Unit", "Leaned"]())
    entries, findings, leaned = _checked(root, Known(old, same, before) if old else None, leaned)
    if not findings and _watched(leaned) <= before.keys() and _with_digests(root, _files(root), since) == before:
        mark = vars(entries)[MARK] = os.urandom(16).hex()
        packed = vars(entries)[PIECES] = _packed(entries, old, store.packed if store else {})
        vars(entries)[FILES] = before
        packed_leaned = pickle.dumps(leaned, protocol=pickle.HIGHEST_PROTOCOL)
        keep(place, code, _Store(mark, before, packed, packed_leaned, (entries, leaned)), held=True)
    return entries, findings


def _checked(root: Path, known: Known | None = None, leaned: "Mapping[Unit, Leaned] | None" = None) -> "Checked":
    from .check import checked  # only where it is needed: loading it takes longer than the store

    return checked(root, known=known, leaned=leaned)


def _watched(leaned: "Mapping[Unit, Leaned]") -> set[str]:
    from .check import files_read

    return files_read(leaned)


# Packing -----------------------------------------------------------------------------------------------------------------


def _packed(entries: Entries, old: Entries | None, packed: Packed) -> Packed:
    """Every field but the root; what is as in the old entries is taken from the pieces that those were packed in."""
    found: Packed = {}
    for name in (one.name for one in fields(Entries) if one.name != "root"):
        before = _pieces(old, name) if old is not None else {}
        found[name] = {
            piece: packed[name][piece]
            if piece in before and _same(before[piece], held)
            else pickle.dumps(held, protocol=pickle.HIGHEST_PROTOCOL)
            for piece, held in _pieces(entries, name).items()
        }
    return found


def _pieces(entries: Entries, name: str) -> dict[str, Any]:
    """A field in the pieces it is packed in, in their order: the records of a folder or a file, which no other stand between."""
    if name not in KINDS:
        return {"": getattr(entries, name)}
    kind, found = KINDS[name], dict[str, Any]()
    for ident, record in entries.of(kind).items():
        found.setdefault(piece_of(entries, kind, ident), {})[ident] = record
    return found


def piece_of(entries: Entries, kind: str, ident: str) -> str:
    """The folder or file that a record is kept with."""
    return entries.home.get((kind, ident)) or entries.places[kind, ident].path


def pieces(entries: Entries) -> dict[tuple[str, str], str]:
    """{(kind, folder or file): a digest of the records there}, which say the same where it is the same.

    Empty for entries that `sound` did not give, or that were not sound.  They must be as they were given.
    """
    packed: Packed = vars(entries).get(PIECES, {})
    return {
        (KINDS[name], piece): hashlib.blake2b(held, digest_size=12).hexdigest()
        for name, found in packed.items()
        if name in KINDS
        for piece, held in found.items()
    }


def _same(old: Any, new: Any) -> bool:
    """Whether two pieces hold the same places, and the very same records, in the same order."""
    if isinstance(old, dict):
        before, now = cast("dict[Any, Any]", old), cast("dict[Any, Any]", new)
        return list(before) == list(now) and all(map(_same, before.values(), now.values()))
    return old is new or (old == new and not isinstance(old, BaseModel))


def _unpacked(root: Path, store: _Store) -> Entries:
    """The entries, found at this root now."""
    entries = _Stored.__new__(_Stored)
    vars(entries).update({name: _unpacked_field(store.packed[name]) for name in AT_ONCE} | {"root": root})
    vars(entries).update({MARK: store.mark, PIECES: store.packed, FILES: store.files})
    vars(entries)["_packed"] = {name: pieces for name, pieces in store.packed.items() if name not in AT_ONCE}
    return entries


def _unpacked_field(pieces: Mapping[str, bytes]) -> Any:
    if "" in pieces:
        return pickle.loads(pieces[""])
    found: dict[str, Any] = {}
    with uncollected():
        for piece in pieces.values():
            found |= pickle.loads(piece)
    return found


def states_read(entries: Entries) -> Mapping[str, State]:
    """Every file below the root as it was when the entries were read, by its path; none where `pieces` knows none either.

    A file holds the same as another time if it is in the same state, and that has no digest.
    """
    return vars(entries).get(FILES, {})


# What has changed --------------------------------------------------------------------------------------------------------


def _files(root: Path) -> dict[str, State]:
    """Every file below the root but hidden ones; one that leads nowhere has no size and no times."""
    found: dict[str, State] = {}
    for path, one in files_below(root):
        try:
            seen = one.stat()
        except OSError:
            found[path] = State(0, 0, 0, one.is_symlink())
        else:
            found[path] = State(seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns, one.is_symlink())
    return found


def _with_digests(root: Path, files: dict[str, State], since: int) -> dict[str, State]:
    """The files, with a digest of those changed after `since` and of links, which may lead elsewhere any time."""
    doubtful = [path for path, one in files.items() if one.link or max(one.written, one.changed) >= since]
    return files | {path: files[path]._replace(digest=_digest_of(root, path)) for path in doubtful}


def unchanged(root: Path, path: str, then: State, now: State) -> bool:
    """Whether a file below the root is what it was; read, where that was in doubt then."""
    return then[:4] == now[:4] and (not then.digest or then.digest == _digest_of(root, path))


def _made_surer(root: Path, place: Path, code: str, store: _Store, since: int) -> _Store:
    """The store, written anew without the digests that nobody needs any more, once its files were found unchanged."""
    if any(one.digest and not one.link and max(one.written, one.changed) < since for one in store.files.values()):
        files = _with_digests(root, _files(root), since)
        if files != store.files and {path: one[:3] for path, one in files.items()} == {
            p: one[:3] for p, one in store.files.items()
        }:
            store = _Store(store.mark, files, store.packed, store.leaned, store.unpacked)
            keep(place, code, store, held=True)
    return store


def _digest_of(root: Path, path: str) -> str:
    """Of the content of a file; nothing for one that cannot be read."""
    place = f"{root}/{path}"
    try:
        if not stat.S_ISREG(os.stat(place).st_mode):  # noqa: PTH116 (thousands of them)
            return ""
        with open(place, "rb", buffering=0) as file:  # noqa: PTH123
            return hashlib.sha256(file.read()).hexdigest()
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


@cache
def _code(folder: Path = HERE) -> str:
    """A digest of the code in a folder as this process has it, whatever has been written since, and of what runs it."""
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


#: {a place: (its mark, the file as this process left it there, what it kept in it)}
_HELD: dict[Path, tuple[str, object, object]] = {}


def fetched(place: Path, mark: str, kind: type[T]) -> T | None:
    """What was kept there with this mark and is of this kind; None where there is nothing such, or it is damaged."""
    try:
        with place.open("rb") as file:
            held = _HELD.get(place)
            if held is not None and held[:2] == (mark, _as_left(file)):
                value = held[2]
            elif file.read(len(mark)).decode("ascii", "replace") == mark:
                value = pickle.load(file)
            else:
                return None
    except Exception:  # noqa: BLE001 (whatever a damaged store raises, the value is made afresh)
        return None
    whole = not is_dataclass(value) or {one.name for one in fields(value)} <= vars(value).keys()  # a stranger of the same name
    return value if isinstance(value, kind) and whole else None


def keep(place: Path, mark: str, value: object, *, held: bool = False) -> None:
    """Keeps a value with a mark. Writes beside and renames, so that a reader never sees half a store.

    held: this process, should it go on, need not read it back; it is the very same value then, so nobody may change it.
    """
    import tempfile  # here, since most runs keep nothing, and it loads a dozen others

    try:
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as file:
            file.write(mark.encode("ascii"))
            pickle.dump(value, file, protocol=pickle.HIGHEST_PROTOCOL)
            file.flush()
            left = _as_left(file)
        Path(file.name).replace(place)
        if held:
            _HELD[place] = mark, left, value
    except OSError:
        return


def _as_left(file: "IO[bytes]") -> object:
    """What another file in its place, or another content, would not share."""
    seen = os.fstat(file.fileno())
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns
