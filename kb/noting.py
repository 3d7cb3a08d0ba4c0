"""Writing down what is read while something is made, so that it need not be made again while none of that changes.

A *key* names something that can be read, such as one record or the ids of all records of a kind.  What the keys are is up to
whoever makes the dictionaries that note them.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import wraps
from typing import Any, Generic, ParamSpec, TypeAlias, TypeVar

Key: TypeAlias = tuple[str, ...]
P = ParamSpec("P")
R = TypeVar("R")
K = TypeVar("K")
V = TypeVar("V")
#: So few keys are written down one by one.
FEW = 4


class Bundle:
    """What was read for something that many lean on, written down once; two are the same only if they are one."""

    __slots__ = ("read",)

    def __init__(self, read: "Reads") -> None:
        self.read = read


Reads: TypeAlias = tuple[Key | Bundle, ...]


class Memo:
    """Writes down the keys that are read while something is made, and keeps what was made before."""

    def __init__(self) -> None:
        self._open: list[set[Key | Bundle]] = []

    def note(self, *keys: Key | Bundle) -> None:
        """The keys are read now, for everything that is being made."""
        if self._open:
            self._open[-1].update(keys)

    def reading(self, make: Callable[[], R]) -> tuple[R, Reads]:
        """(what is made, what was read for it)."""
        self._open.append(set())
        try:
            made = make()
        finally:
            read = self._open.pop()
        return made, tuple(read)

    def kept(self, make: Callable[P, R]) -> Callable[P, R]:
        """As `functools.cache`; whoever asks for what was made before has read what it was made of."""
        found: dict[Any, tuple[R, Reads]] = {}

        @wraps(make)
        def call(*args: P.args, **kwargs: P.kwargs) -> R:
            at = (args, tuple(kwargs.items())) if kwargs else args
            kept = found.get(at)
            if kept is None:
                value, read = self.reading(lambda: make(*args, **kwargs))
                kept = found[at] = value, read if len(read) <= FEW else (Bundle(read),)
            if self._open:
                self._open[-1].update(kept[1])
            return kept[0]

        return call


class Noted(dict[K, V], Generic[K, V]):
    """A dictionary that writes down what is read of it.

    key    the key of what it holds at a place;  has: of whether it holds anything there, where that is told apart
    whole  the keys of all it holds;  names: of all its places, where that is told apart
    """

    def __init__(
        self,
        plain: Mapping[K, V],
        memo: Memo,
        key: Callable[[K], Key],
        whole: tuple[Key, ...],
        has: Callable[[K], Key] | None = None,
        names: tuple[Key, ...] | None = None,
    ) -> None:
        super().__init__(plain)
        self._note = memo.note
        self._key, self._has = key, has or key
        self._whole, self._names = whole, whole if names is None else names

    def __getitem__(self, at: K) -> V:
        self._note(self._key(at))
        return super().__getitem__(at)

    def __contains__(self, at: object) -> bool:
        self._note(self._has(at))  # type: ignore[arg-type] (what is asked of such a dictionary is a place in it)
        return super().__contains__(at)

    def get(self, at: K, default: Any = None) -> Any:
        """As of any dictionary."""
        self._note(self._key(at))
        return super().get(at, default)

    def __iter__(self) -> Iterator[K]:
        self._note(*self._names)
        return super().__iter__()

    def __len__(self) -> int:
        self._note(*self._names)
        return super().__len__()

    def keys(self) -> Any:
        """As of any dictionary."""
        self._note(*self._names)
        return super().keys()

    def values(self) -> Any:
        """As of any dictionary."""
        self._note(*self._whole)
        return super().values()

    def items(self) -> Any:
        """As of any dictionary."""
        self._note(*self._whole)
        return super().items()

    def __or__(self, other: Any) -> Any:
        self._note(*self._whole)
        return dict(super().items()) | other

    def __ror__(self, other: Any) -> Any:
        self._note(*self._whole)
        return other | dict(super().items())
