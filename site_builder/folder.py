"""The folder that a site stands in: nothing of anybody else's is touched, and what is new takes its place at the very end.

Whatever is made is written into a folder beside it first.  A site that is new to the last file replaces the folder; of one that
stays but for some files, only those are exchanged, each in one step of the file system, and put back if one of them fails.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Collection, Generator, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from .texts import CannotPublish

#: Lists the files of a site that a build wrote; a folder without it, or with anything else in it, is left alone.
MARKER = ".tellmark-site"


class Seen(NamedTuple):
    """A file as the disk has it: its size in bytes, and when it was written (ns)."""

    size: int
    at: int


def standing(target: Path) -> dict[str, Seen]:
    """What stands in a folder, by its path below, but for plain folders; a link counts as the file it leads to, if any.

    Raises CannotPublish for what no build wrote, or OSError of the disk.
    """
    if target.exists() and not target.is_dir():
        raise CannotPublish(f'a file at "{target}"', "a folder, or nothing yet")
    found = dict(_files(str(target), "")) if target.exists() else {}
    if found and MARKER not in found:
        raise CannotPublish(f'files in "{target}" that no site build wrote', "an empty folder, or a site built earlier")
    strangers = sorted(found.keys() - {MARKER, *_listed(target)}) if found else []
    if strangers:
        others = f" and {len(strangers) - 1} more" if len(strangers) > 1 else ""
        raise CannotPublish(f'"{strangers[0]}"{others} in "{target}"', "only what the last build wrote there")
    return found


def _files(folder: str, inside: str) -> Iterator[tuple[str, Seen]]:
    with os.scandir(folder) as found:
        for one in found:
            if one.is_dir(follow_symlinks=False):
                yield from _files(one.path, f"{inside}{one.name}/")
                continue
            try:
                seen = one.stat()
            except OSError:
                yield inside + one.name, Seen(0, 0)
            else:
                yield inside + one.name, Seen(seen.st_size, seen.st_mtime_ns)


def _listed(target: Path) -> list[str]:
    return (target / MARKER).read_text("utf-8", errors="replace").split("\n")


@dataclass
class Fresh:
    """A folder beside a site, to be filled with what is new.

    gone  where the site stays but for what is in the folder: the paths of those that go; else None
    """

    path: Path
    gone: Collection[str] | None = None

    def make_folders(self, addresses: Iterable[str]) -> None:
        """The folders that files of these addresses lie in."""
        for folder in {address.rpartition("/")[0] for address in addresses}:
            os.makedirs(f"{self.path}/{folder}", exist_ok=True)  # noqa: PTH103 (hundreds of them)


@contextmanager
def beside(target: Path) -> Generator[Fresh]:
    """An empty folder; what it holds becomes the site, or a part of it, when the block ends.

    Until then, and after any failure, the old site stands.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    place = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    fresh, old = Fresh(place / "fresh"), place / "old"
    try:
        fresh.path.mkdir()
        yield fresh
        if fresh.gone is not None:
            _exchange(fresh.path, target, fresh.gone, old)
        elif target.exists():
            _swap(fresh.path, target, old)
        else:
            fresh.path.rename(target)
    finally:
        if target.exists() or not old.exists():
            shutil.rmtree(place, ignore_errors=True)


def publish(files: Mapping[str, bytes], target: Path) -> None:
    """Writes all files beside `target`, then swaps the folders."""
    with beside(target) as fresh:
        refuse_wrong(files)
        fresh.make_folders(files)
        for path, content in files.items():
            (fresh.path / path).write_bytes(content)
        write_marker(fresh.path, files)


def write_marker(root: Path, addresses: Iterable[str]) -> None:
    """Writes down which files are ours."""
    (root / MARKER).write_bytes("".join(f"{path}\n" for path in sorted(addresses)).encode("utf-8"))


def refuse_wrong(addresses: Iterable[str]) -> None:
    """Raises CannotPublish for an address that is offered twice, or leads out of the folder."""
    seen: set[str] = set()
    for one in addresses:
        if one in seen:
            raise CannotPublish(f'"{one}" twice', "every address once")
        if not _inside(one):
            raise CannotPublish(f'the path "{one}"', "a path inside the site")
        seen.add(one)


def _inside(path: str) -> bool:
    return all(step not in ("", ".", "..") for step in path.split("/")) and "\\" not in path and "\0" not in path


def _swap(fresh: Path, target: Path, old: Path) -> None:
    target.rename(old)
    try:
        fresh.rename(target)
    except BaseException:
        old.rename(target)
        raise


def _exchange(fresh: Path, target: Path, gone: Collection[str], old: Path) -> None:
    """Those that are `gone` go, files of `fresh` take their places in `target`; `old` keeps what was there until all is done."""
    come = [path for path, _ in _files(str(fresh), "") if path != MARKER]
    old.mkdir()
    write_marker(old, {*filter(None, _listed(target)), *come})  # all of it is ours, whenever this ends
    (old / MARKER).replace(target / MARKER)
    paths = [*gone, *come, MARKER]
    kept = {path: old / str(number) for number, path in enumerate(paths)}
    done: list[str] = []
    try:
        for path in paths:
            done.append(path)
            _keep(target / path, kept[path])
            if path in gone:
                (target / path).unlink()
                _remove_emptied(target, path)
            else:
                (target / path).parent.mkdir(parents=True, exist_ok=True)
                (fresh / path).replace(target / path)
    except BaseException:
        for path in reversed(done):
            _put_back(path, target, kept[path], fresh)
        raise


def _keep(place: Path, kept: Path) -> None:
    """The same file in a second place, where the disk can; else a copy with its time of change. Nothing where nothing is."""
    try:
        os.link(place, kept)
    except FileNotFoundError:
        pass
    except OSError:
        shutil.copy2(place, kept)


def _put_back(path: str, target: Path, kept: Path, fresh: Path) -> None:
    """What was at a place before; nothing where nothing was and something new came."""
    if kept.exists():
        (target / path).parent.mkdir(parents=True, exist_ok=True)
        kept.replace(target / path)
    elif not (fresh / path).exists():
        (target / path).unlink(missing_ok=True)
        _remove_emptied(target, path)


def _remove_emptied(target: Path, path: str) -> None:
    """The folders that a file lay in, as far as nothing else is in them."""
    with contextlib.suppress(OSError):
        for folder in Path(path).parents[:-1]:
            (target / folder).rmdir()
