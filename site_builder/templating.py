"""How templates become texts: everything escaped, nothing undefined let pass, and what many pages show alike written once."""

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, cast

from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.compiler import CodeGenerator
from jinja2.runtime import Context, Macro
from markupsafe import Markup, escape

from .page import Shared
from .reads import digest

TEMPLATES = Path(__file__).parent / "templates"
#: Characters that are escaped in HTML.
TO_ESCAPE = re.compile(r"[&<>\"']")


class _Generator(CodeGenerator):
    """Compiles templates to code that says `escaped` where it would say `escape`."""

    def _output_child_pre(self, node: Any, frame: Any, finalize: Any) -> None:  # noqa: ARG002 (named by the library)
        self.write("environment.escaped(")


class _Context(Context):
    """The values of a page, from which templates call macros."""

    def call(self, called: Any, /, *args: Any, **kwargs: Any) -> Any:
        """As any context has it, but a macro is called at once: to find out that it needs no context takes as long."""
        if type(called) is not Macro:
            return super().call(called, *args, **kwargs)
        for name in ("_block_vars", "_loop_vars"):  # for those who ask for one
            kwargs.pop(name, None)
        return called(*args, **kwargs)


class Templates(Environment):
    """The templates of the site, compiled once. `store`: the folder where they are kept compiled between runs, if any."""

    code_generator_class = _Generator
    context_class = _Context

    def __init__(self, store: Path | None) -> None:
        super().__init__(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            auto_reload=False,
            bytecode_cache=FileSystemBytecodeCache(str(store), f"template-{_code()}-%s.compiled") if store else None,
        )
        self._written: dict[tuple[str, ...], Markup] = {}
        cast("dict[str, Any]", self.globals).update(each=each, same=self._same)

    def _same(self, macro: Macro, up: str, *said: str | None) -> Markup:
        """What a macro makes of a few texts, `up` leading to the root, and of nothing else that differs between pages."""
        key = (macro.name, up, *map(str, said))
        if key not in self._written:
            self._written[key] = Markup(macro(up, *said))
        return self._written[key]

    def getattr(self, obj: Any, attribute: str) -> Any:
        """As any environment has it, but for dictionaries, which is what pages are made of: their values come first."""
        if isinstance(obj, dict) and attribute in obj:
            return obj[attribute]  # pyright: ignore[reportUnknownVariableType] (values are of any type)
        return super().getattr(obj, attribute)

    @staticmethod
    def escaped(value: Any) -> str:
        """As `markupsafe.escape`, but a text without a character to escape is not marked: a template joins it at once."""
        if type(value) is Markup or (type(value) is str and not TO_ESCAPE.search(value)):
            return value
        return escape(value)


@cache
def _code() -> str:
    """A digest of what compiles the templates: what other code has compiled may call what is not here."""
    return digest(Path(__file__).read_bytes())


def each(macro: Macro, some: Iterable[Any], up: str) -> Markup:
    """What a macro makes of each value, `up` leading to the root; of a shared one it is made once for all pages of a folder."""
    return Markup("".join([_once(macro, one, up) for one in some]))


def _once(macro: Macro, one: Any, up: str) -> Markup:
    if not isinstance(one, Shared):
        return Markup(macro(one, up))
    key = macro.name, up
    if key not in one.written:
        one.written[key] = Markup(macro(one, up))
    return one.written[key]
