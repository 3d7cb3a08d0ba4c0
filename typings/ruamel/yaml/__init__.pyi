"""Types of the few things of ruamel.yaml that are used here; the package ships none."""

from collections.abc import Iterator
from typing import Any, TextIO

from .nodes import Node
from .resolver import VersionedResolver

class YAML:
    Resolver: type[VersionedResolver]
    preserve_quotes: bool
    width: int
    allow_unicode: bool
    default_flow_style: bool
    def __init__(self, typ: str | None = ..., pure: bool = ...) -> None: ...
    def compose(self, stream: str) -> Node | None: ...
    def parse(self, stream: str) -> Iterator[object]: ...
    def load(self, stream: str | TextIO) -> Any: ...
    def dump(self, data: Any, stream: TextIO) -> None: ...
    def indent(self, mapping: int = ..., sequence: int = ..., offset: int = ...) -> None: ...
