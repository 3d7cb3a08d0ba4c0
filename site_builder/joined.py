"""Modules of JavaScript joined to one classic script, since a page opened from a folder on disk may load no other.

The modules stand in `modules/`, plain and typed by JSDoc.  Each becomes a function that returns what it exports; what the entry
module exports is put under one name; the comments, a third of all, stay behind.  The modules keep to a part of the language that
needs no parser to be joined:

    import { a, b as c } from "./other.js";                     one statement, at the start of a line, relative, named
    export function f() {}    export class C {}    export const X = 1;       at the start of a line; one name each
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path, PurePosixPath
from posixpath import normpath

MODULES = Path(__file__).parent / "modules"

_IMPORT = re.compile(r'^import \{([^}]*)\} from "(\.{1,2}/[^"]+)";[ \t]*$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function\*?|class|const) +([A-Za-z_$][\w$]*))", re.MULTILINE)
#: A comment that has its lines to itself.
_COMMENT = re.compile(r"^[ \t]*/\*\*(?:(?!\*/).)*\*/[ \t]*\n", re.MULTILINE | re.DOTALL)
_ANY = re.compile(r"^(?:import|export)\b.*$", re.MULTILINE)


class CannotJoin(Exception):
    """A module says something that is not joined, or modules import each other in a circle."""


def joined(entry: str, name: str, folder: Path = MODULES) -> str:
    """One classic script of a module, such as kernel/session.js, and all that it imports; its exports are `globalThis[name]`.

    Raises CannotJoin; FileNotFoundError for a module that there is not.
    """
    texts: dict[str, str] = {}
    _gather(entry, folder, texts, ())
    body = "".join(texts.values())
    return f'"use strict";\n(() => {{\n{body}globalThis.{name} = {_variable(entry)};\n}})();\n'


def _gather(path: str, folder: Path, texts: dict[str, str], above: tuple[str, ...]) -> None:
    """Adds a module's text behind those of what it imports."""
    if path in above:
        raise CannotJoin(f"modules import each other: {' -> '.join([*above, path])}")
    if path in texts:
        return
    imports, body, exports = _parts(path, folder)
    for other in imports:
        _gather(other, folder, texts, (*above, path))
    taken = "".join(f"const {{ {names} }} = {_variable(other)};\n" for other, names in imports.items())
    texts[path] = f"const {_variable(path)} = (() => {{\n{taken}{body}return {{ {', '.join(exports)} }};\n}})();\n"


def _parts(path: str, folder: Path) -> tuple[Mapping[str, str], str, tuple[str, ...]]:
    """(what is taken from which module, the text without imports and exports, the exported names)."""
    file = folder / path
    return _parts_of(file, path, file.stat().st_mtime_ns)


@cache
def _parts_of(file: Path, path: str, _changed: int) -> tuple[Mapping[str, str], str, tuple[str, ...]]:
    text = file.read_text("utf-8")
    imports = {
        normpath(f"{PurePosixPath(path).parent}/{other}"): ", ".join(_taken(one) for one in names.split(",") if one.strip())
        for names, other in _IMPORT.findall(text)
    }
    exports = tuple(_EXPORT.findall(text))
    body = _COMMENT.sub("", _EXPORT.sub("", _IMPORT.sub("", text)))
    if found := _ANY.search(body):
        raise CannotJoin(f'{path}: found "{found[0]}", expected a named import or export as joined.py describes')
    return imports, body.strip() + "\n", exports


def _taken(written: str) -> str:
    return ": ".join(one.strip() for one in written.split(" as "))


def _variable(path: str) -> str:
    return "module_" + re.sub(r"\W", "_", path.removesuffix(".js"))
