"""What changed in the entries, as values: read from the git repository that keeps them.

Of the last commits that touch the folder, both versions of every touched file are read as plain YAML and compared record by
record, so that a record that was moved to another file has not changed.  Git is asked to run nothing: no hooks, no filters, no
fetching.  A commit never changes, so what it changed is kept between runs.
"""

import csv
import io
import os
import re
import subprocess
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, cast

from .cache import keep_values, kept_values
from .files import MOST_BYTES, decode
from .findings import BadInput, printable
from .load import rule_for

MOST_COMMITS = 50
#: Characters of a value that are kept; and seconds that git may take.
MOST_SHOWN, PATIENCE = 400, 60
#: Of two lists that have so many items in common only those are told that came and went.
MANY = 4
KEPT = "changes"
#: Plain files; everything else that git can hold (links, other repositories) is left alone.
PLAIN_FILES = ("100644", "100755")
NO_BLOB = "0" * 40

QUIET = ("-c", "core.fsmonitor=false", "-c", "core.hooksPath=/dev/null", "-c", "i18n.logOutputEncoding=UTF-8")
LOG = ("--no-merges", "--relative", "--raw", "-z", "--no-abbrev", "--no-renames", "--no-ext-diff", "--no-show-signature")
ENVIRONMENT = {
    "LC_ALL": "C",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_TERMINAL_PROMPT": "0",
    "GIT_NO_LAZY_FETCH": "1",
    "GIT_NO_REPLACE_OBJECTS": "1",
}
_MAIL = re.compile(r"<?[\w.+-]+@[\w-]+(\.[\w-]+)*>?")

Plain = dict[str, Any]


class Change(NamedTuple):
    """One value. `field`: the steps to it, none for the whole record; `old`, `new`: as written, None where there is none."""

    kind: str
    id: str
    field: tuple[str, ...]
    old: str | None
    new: str | None


@dataclass(frozen=True)
class Commit:
    """What one commit changed, when (as git writes it), and why: the first line of its message.

    unread: files of which a version could not be read.
    """

    hash: str
    when: str
    why: str
    changes: tuple[Change, ...]
    unread: tuple[str, ...]


@dataclass(frozen=True)
class History:
    """The last commits, the newest first. `problem`: why there are none; `cut`: whether older ones are missing here."""

    commits: tuple[Commit, ...] = ()
    problem: str | None = None
    cut: bool = False


class _Touched(NamedTuple):
    """A commit with the (path, old blob, new blob) of every file of entries it touches."""

    hash: str
    when: str
    why: str
    files: list[tuple[str, str, str]]


class _GitFailed(Exception):
    """Git could not do it; what it said."""


def history(root: Path, most: int = MOST_COMMITS) -> History:
    """What changed values in the last `most` commits that touch `root`. Never raises: what is missing is said in the answer."""
    try:
        shallow = _git(root, "rev-parse", "--is-shallow-repository").strip() == b"true"
        edge = set(_git(root, "rev-list", "--max-parents=0", "HEAD").decode().split()) if shallow else set[str]()
        touched = [one for one in _touched(root, most) if one.hash not in edge]
        return History(tuple(one for one in _commits(root, touched) if one.changes or one.unread), cut=shallow)
    except OSError:
        return History(problem="git is not installed where this was made")
    except _GitFailed as failed:
        said = str(failed)
        if "not a git repository" in said:
            return History(problem="the entries are not kept in a git repository")
        if "does not have any commits" in said or "unknown revision" in said or "bad revision" in said:
            return History()
        return History(problem="git could not read the history of the entries")


def head(root: Path) -> str:
    """What `history` depends on beside the code: the commit that is checked out. "" where there is none."""
    try:
        return _git(root, "rev-parse", "HEAD").decode().strip()
    except (OSError, _GitFailed):
        return ""


def _git(root: Path, *arguments: str, given: bytes = b"") -> bytes:
    command = ["git", "-C", str(root), *QUIET, *arguments]
    here = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")} | ENVIRONMENT
    try:
        done = subprocess.run(command, input=given, capture_output=True, env=here, timeout=PATIENCE, check=False)
    except subprocess.TimeoutExpired as problem:
        raise _GitFailed(str(problem)) from None
    if done.returncode:
        raise _GitFailed(done.stderr.decode("utf-8", "replace"))
    return done.stdout


# What git says -----------------------------------------------------------------------------------------------------------


def _touched(root: Path, most: int) -> Iterator[_Touched]:
    """The commits, the newest first, each with its files of entries."""
    text = _git(root, "log", f"--max-count={most}", *LOG, "--format=%x01%H%x00%cI%x00%s", "--", ".").decode("utf-8", "replace")
    words = iter(text.split("\0"))
    word = next(words, "")
    while word.startswith("\x01"):
        one = _Touched(word[1:], next(words), next(words), [])
        word = next(words, "")
        while word.lstrip("\n").startswith(":"):
            old_mode, new_mode, old, new, _ = word.lstrip("\n").removeprefix(":").split(" ")
            path = next(words)
            if rule_for(path):
                one.files.append((path, old if old_mode in PLAIN_FILES else NO_BLOB, new if new_mode in PLAIN_FILES else NO_BLOB))
            word = next(words, "")
        yield one


def _blobs(root: Path, names: Iterable[str]) -> dict[str, bytes | None]:
    """{name: content} of git's blobs; None for one that is missing here, or too large for an entry."""
    wanted = sorted(set(names) - {NO_BLOB})
    sizes = _git(root, "cat-file", "--batch-check", given="".join(f"{name}\n" for name in wanted).encode()).decode().split("\n")
    small = [
        name
        for name, line in zip(wanted, sizes, strict=False)
        if (last := line.split(" ")[-1]).isdigit() and int(last) <= MOST_BYTES
    ]
    found: dict[str, bytes | None] = dict.fromkeys(wanted)
    stream = io.BytesIO(_git(root, "cat-file", "--batch", given="".join(f"{name}\n" for name in small).encode()))
    for name in small:
        size = int(stream.readline().split(b" ")[-1])
        found[name] = stream.read(size)
        stream.read(1)
    return found


def _commits(root: Path, touched: Sequence[_Touched]) -> list[Commit]:
    kept = kept_values(root, KEPT)
    fresh = [one for one in touched if one.hash not in kept]
    blobs = _blobs(root, [blob for one in fresh for _, old, new in one.files for blob in (old, new)]) if fresh else {}
    known = {one.hash: kept[one.hash] for one in touched if one.hash in kept} | {one.hash: _commit(one, blobs) for one in fresh}
    if fresh:
        keep_values(root, KEPT, known)
    return [commit for one in touched if isinstance(commit := known[one.hash], Commit)]


# Records and values ------------------------------------------------------------------------------------------------------


def _commit(one: _Touched, blobs: Mapping[str, bytes | None]) -> Commit:
    before: dict[tuple[str, str], Any] = {}
    after: dict[tuple[str, str], Any] = {}
    unread: list[str] = []
    for path, old, new in one.files:
        try:
            was, now = (_records(path, blobs[blob]) if blob != NO_BLOB else {} for blob in (old, new))
        except BadInput:
            # Neither version counts, so that nothing is taken for new or for gone that only could not be read.
            unread.append(path)
        else:
            before |= was
            after |= now
    why = printable(_MAIL.sub("…", one.why)).strip() or "No reason was given"
    return Commit(one.hash, one.when, why, tuple(_changes(before, after)), tuple(unread))


def _records(path: str, content: bytes | None) -> dict[tuple[str, str], Any]:
    """The records of a file as plain values; of a table the count of each row. Raises BadInput when it cannot be read."""
    rule = rule_for(path)
    if content is None or rule is None:
        raise BadInput([])
    text = decode(content, path)
    steps = path.split("/")
    stem = steps[-1].rsplit(".", 1)[0]
    if rule.shape == "table":
        return {(rule.kind, stem): Counter(_rows(text))}
    from .yaml_text import read  # here, since most builds find no new commit

    plain = read(text, path)
    if rule.shape == "whole":
        return {(rule.kind, stem): plain}
    if rule.shape == "folder":
        return {(rule.kind, steps[1]): plain}
    if rule.shape == "mapping":
        return {(rule.kind, ident): value for ident, value in cast("Plain", plain).items()} if isinstance(plain, dict) else {}
    listed = cast(
        "list[Any]",
        plain if isinstance(plain, list) else [{"id": stem, **cast("Plain", plain)}] if isinstance(plain, dict) else [],
    )
    mappings = [cast("Plain", value) for value in listed if isinstance(value, dict)]
    return {
        (rule.kind, str(value.get("id", stem))): {name: said for name, said in value.items() if name != "id"}
        for value in mappings
    }


def _rows(text: str) -> Iterator[str]:
    """Each row of a table as its cells with their columns."""
    try:
        for row in csv.DictReader(io.StringIO(text, newline=None), strict=True):
            yield ", ".join(f"{name} {value}" for name, value in row.items() if isinstance(value, str) and value.strip())
    except csv.Error:
        raise BadInput([]) from None


def _changes(before: Mapping[tuple[str, str], Any], after: Mapping[tuple[str, str], Any]) -> Iterator[Change]:
    """What differs, by kind and id, whole records first."""
    for kind, ident in sorted(before.keys() | after.keys()):
        old, new = before.get((kind, ident)), after.get((kind, ident))
        if isinstance(old, Counter) or isinstance(new, Counter):
            yield from _row_changes(kind, ident, cast("Counter[str]", old or Counter()), cast("Counter[str]", new or Counter()))
        elif (kind, ident) not in before:
            yield Change(kind, ident, (), None, _name(new, ident))
        elif (kind, ident) not in after:
            yield Change(kind, ident, (), _name(old, ident), None)
        else:
            yield from (Change(kind, ident, field, was, now) for field, was, now in _differences(old, new, ()))


def _row_changes(kind: str, ident: str, old: Counter[str], new: Counter[str]) -> Iterator[Change]:
    yield from (Change(kind, ident, ("row",), written(row), None) for row in sorted((old - new).elements()))
    yield from (Change(kind, ident, ("row",), None, written(row)) for row in sorted((new - old).elements()))


def _name(plain: Any, ident: str) -> str:
    return written(cast("Plain", plain).get("name") or ident) if isinstance(plain, dict) else ident


def _differences(old: Any, new: Any, field: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str | None, str | None]]:
    """(field, old, new) of every value that differs; a fact of several choices is one value."""
    if old == new:
        return
    if isinstance(old, dict) and isinstance(new, dict) and not (len(field) > 1 and field[-2] in ("shows", "fitted", "answers")):
        was, now = cast("Plain", old), cast("Plain", new)
        for key in dict.fromkeys([*was, *now]):
            if key not in now:
                yield (*field, key), written(was[key]), None
            elif key not in was:
                yield (*field, key), None, written(now[key])
            else:
                yield from _differences(was[key], now[key], (*field, key))
    elif len(one := _mappings(old)) == len(other := _mappings(new)) > 0:
        for number, (was, now) in enumerate(zip(one, other, strict=True), 1):
            yield from _differences(was, now, (*field, str(number)))
    elif len(stayed := _items(old) & _items(new)) >= MANY and _items(old) != _items(new):
        yield field, _besides(old, stayed), _besides(new, stayed)
    else:
        yield field, written(old), written(new)


def _items(value: Any) -> set[str | float]:
    """What a list of texts and numbers holds."""
    listed = cast("list[Any]", value) if isinstance(value, list) else []
    return set(listed) if all(isinstance(one, str | int | float) for one in listed) else set()


def _besides(listed: Any, stayed: set[str | float]) -> str:
    """The items of a long list that are not in the other version, in their order."""
    told = [one for one in cast("list[str | float]", listed) if one not in stayed]
    return f"{written(told)}, and {len(stayed)} that stayed" if told else f"the {len(stayed)} that stayed"


def _mappings(value: Any) -> list[Plain]:
    """The mappings of a list that holds nothing else."""
    listed = cast("list[Any]", value) if isinstance(value, list) else []
    return [cast("Plain", one) for one in listed] if all(isinstance(one, dict) for one in listed) else []


def written(value: Any) -> str:
    """A plain value about as an entry would have it, on one line, cut when it is long."""
    text = printable(" ".join(_flow(value).split()))
    return text if len(text) <= MOST_SHOWN else text[: MOST_SHOWN - 1].rstrip() + "…"


def _flow(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_nested(one)}" for key, one in cast("Plain", value).items())
    if isinstance(value, list):
        return ", ".join(_nested(one) for one in cast("list[Any]", value))
    return str(value)


def _nested(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + _flow(value) + "}"
    return "[" + _flow(value) + "]" if isinstance(value, list) else _flow(value)
