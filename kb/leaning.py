"""What a check leans on: entries that write down what is read of them, and what has changed between two of them.

A key begins with what is read:

    (IS, table, id)      what stands there, or that nothing does      (ALL, table)     everything in a table
    (BARE, table, id)    the same without its words                   (NAMES, table)   its ids, in their order
    (HAS, table, id)     whether something stands there               (FILE, path)     the content of a file below the root
    (IN, kind, home)     the ids of a kind that belong to a folder

A table is a field of the entries, "about" for single numbers of the knowledge base, or "about.views" and the like for what it
holds by id.  An id of two words is written as two.

Thousands of checks lean on a few traits, families and views, and on none of the words that are most often worked on: what
sellers call a state, how it is asked for.  They are given those records without their words, and `BARE` and `ALL` are of these.
"""

from collections.abc import Iterable, Mapping
from typing import Any, TypeAlias, cast

from pydantic import BaseModel

from .load import FIELDS, Entries
from .models import KnowledgeBase, State
from .noting import Bundle, Key, Memo, Noted, Reads
from .values import made_of

IS, BARE, HAS, ALL, NAMES, IN, FILE = "is", "bare", "has", "all", "names", "in", "file"
#: The tables whose ids are pairs of a kind and an id.
PAIRED = ("places", "home")
#: The tables whose records are given without their words, and the fields that hold those; an answer may name a state by its name.
WORDY = ("traits", "slot_types", "families", "about.views")
WORDS = frozenset(
    ["about", "ask", "changes", "found", "how", "look", "mend", "photographs", "request", "said", "sources", "vague", "verified"]
)
#: What a check read: keys of its own, then those it read together with others.
Leaned: TypeAlias = tuple[frozenset[Key], ...]


def _id(at: str | tuple[str, ...]) -> tuple[str, ...]:
    return at if isinstance(at, tuple) else (at,)


def _noting(table: str, plain: Mapping[Any, Any], memo: Memo) -> Noted[Any, Any]:
    noting, what = (_Bare, BARE) if table in WORDY else (Noted[Any, Any], IS)
    return noting(
        plain,
        memo,
        key=lambda at: (what, table, *_id(at)),
        whole=((ALL, table),),
        has=lambda at: (HAS, table, *_id(at)),
        names=((NAMES, table),),
    )


def bare(one: Any) -> Any:
    """A record without its words, which whoever reads them misses; of anything else what it holds."""
    if isinstance(one, dict):
        return {at: bare(inner) for at, inner in cast("dict[Any, Any]", one).items()}
    if not isinstance(one, BaseModel):
        return one
    words = WORDS if isinstance(one, State) else {"name", *WORDS}
    held = {name: bare(inner) for name, inner in vars(one).items() if name not in words}
    return made_of(type(one), held, set(held))


class _Bare(Noted[Any, Any]):
    """Gives the records without their words."""

    def _bare(self, at: Any, one: Any) -> Any:
        made: dict[Any, Any] = vars(self).setdefault("_made", {})
        if at not in made:
            made[at] = bare(one)
        return made[at]

    def __getitem__(self, at: Any) -> Any:
        return self._bare(at, super().__getitem__(at))

    def get(self, at: Any, default: Any = None) -> Any:
        """As of any dictionary."""
        one = super().get(at)
        return default if one is None else self._bare(at, one)

    def items(self) -> Any:
        """As of any dictionary."""
        return {at: self._bare(at, one) for at, one in super().items()}.items()

    def values(self) -> Any:
        """As of any dictionary."""
        return dict(self.items()).values()

    def __or__(self, other: Any) -> Any:
        return dict(self.items()) | other

    def __ror__(self, other: Any) -> Any:
        return other | dict(self.items())


def _by_id(about: KnowledgeBase) -> dict[str, Mapping[str, Any]]:
    """What the knowledge base holds by id."""
    return {name: cast("Mapping[str, Any]", held) for name, held in about if isinstance(held, dict)}


class _About:
    """The knowledge base itself; what is read of it is written down."""

    def __init__(self, plain: KnowledgeBase, memo: Memo) -> None:
        self._plain, self._memo = plain, memo
        self._tables = {name: _noting(f"about.{name}", held, memo) for name, held in _by_id(plain).items()}

    def __getattr__(self, name: str) -> Any:
        if name in self._tables:
            return self._tables[name]
        self._memo.note((IS, "about", name))
        return getattr(self._plain, name)


class _Lost(set[str]):
    """The kinds of which some file could not be read; whether one of them is, is written down."""

    def __init__(self, plain: Iterable[str], memo: Memo) -> None:
        super().__init__(plain)
        self._note = memo.note

    def __contains__(self, kind: object) -> bool:
        self._note((HAS, "lost", str(kind)))
        return super().__contains__(kind)

    def __and__(self, kinds: Any) -> set[str]:
        self._note(*((HAS, "lost", str(kind)) for kind in kinds))
        return {kind for kind in kinds if super(_Lost, self).__contains__(kind)}


class NotedEntries(Entries):
    """The same entries; every reading of them but that of the root is written down."""

    def __init__(self, plain: Entries, memo: Memo) -> None:
        self._plain, self._memo = plain, memo
        self.root = plain.root
        self.about = cast("KnowledgeBase", _About(plain.about, memo))
        self.lost = _Lost(plain.lost, memo)
        for table in (*FIELDS.values(), *PAIRED):
            setattr(self, table, _noting(table, getattr(plain, table), memo))

    def __getattr__(self, name: str) -> Any:
        """Called for what is not there: what is read as a whole."""
        if name.startswith("_"):
            raise AttributeError(name)
        self._memo.note((IS, "about", name))
        return getattr(self._plain, name)

    def whole(self, kind: str, ident: str) -> Any:
        """A record with its words."""
        self._memo.note((IS, FIELDS[kind], ident))
        return self._plain.of(kind)[ident]

    def ids(self, kind: str) -> list[str]:
        """As of any entries."""
        self._memo.note((NAMES, "places", kind))
        return self._plain.ids(kind)

    def inside(self, kind: str, home: str) -> list[str]:
        """As of any entries."""
        self._memo.note((IN, kind, home))
        return self._plain.inside(kind, home)


# What has changed --------------------------------------------------------------------------------------------------------


def changed(old: Entries, new: Entries) -> set[Key]:
    """The keys of everything that can be read of entries and is another now; those of files are not among them."""
    found: set[Key] = set()
    for (table, before), now in zip(_tables(old).items(), _tables(new).values(), strict=True):
        found.update(_changed(table, before, now))
    for kind in FIELDS:
        before, now = (_homes(one, kind) for one in (old, new))
        found.update((IN, kind, home) for _, home in before ^ now)
    return found


def _homes(entries: Entries, kind: str) -> set[tuple[str, str]]:
    return {(ident, entries.home.get((kind, ident), "")) for ident in entries.of(kind)}


def _tables(entries: Entries) -> dict[str, Mapping[Any, Any]]:
    """Everything that entries hold but their root, by table."""
    held = _by_id(entries.about)
    return {
        **{table: getattr(entries, table) for table in (*FIELDS.values(), *PAIRED)},
        **{f"about.{name}": value for name, value in held.items()},
        "about": {name: value for name, value in entries.about if name not in held} | {"sellers": entries.sellers},
        "lost": dict.fromkeys(entries.lost),
    }


def _changed(table: str, old: Mapping[Any, Any], new: Mapping[Any, Any]) -> set[Key]:
    come_or_gone = old.keys() ^ new.keys()
    other = [at for at, one in old.items() if at in new and one is not new[at] and one != new[at]]
    found: set[Key] = {(IS, table, *_id(at)) for at in (*come_or_gone, *other)}
    found.update((HAS, table, *_id(at)) for at in come_or_gone)
    if table in WORDY:
        other = [at for at in other if bare(old[at]) != bare(new[at])]
        found.update((BARE, table, at) for at in (*come_or_gone, *other))
    if table in PAIRED:
        found.update((NAMES, table, at[0]) for at in come_or_gone)
    if come_or_gone or list(old) != list(new):
        found.update(((NAMES, table), (ALL, table)))
    elif other:
        found.add((ALL, table))
    return found


class Flat:
    """Turns what was written down into sets of keys, each set and each key there once however often it was read.

    Whether something stands somewhere is left out where what stands there was read.
    """

    def __init__(self, known: Iterable[Leaned] = ()) -> None:
        self._sets = {one: one for leaned in known for one in leaned}
        self._keys: dict[Key, Key] = {}
        self._bundles: dict[Bundle, frozenset[Key]] = {}

    def __call__(self, reads: Reads) -> Leaned:
        """What a check leans on."""
        own = self._set(key for key in reads if not isinstance(key, Bundle))
        return (own, *(self._bundle(one) for one in reads if isinstance(one, Bundle)))

    def own(self, leaned: Leaned) -> Leaned:
        """The same in the sets and keys of its own: another process has copies of them."""
        return tuple(self._sets[one] if one in self._sets else self._set(one) for one in leaned)

    def _bundle(self, bundle: Bundle) -> frozenset[Key]:
        if bundle not in self._bundles:
            self._bundles[bundle] = self._set(key for one in self(bundle.read) for key in one)
        return self._bundles[bundle]

    def _set(self, keys: Iterable[Key]) -> frozenset[Key]:
        read = set(keys)
        weaker = [key for key in read if key[0] == HAS and ((IS, *key[1:]) in read or (BARE, *key[1:]) in read)]
        found = frozenset(self._keys.setdefault(key, key) for key in read.difference(weaker))
        return self._sets.setdefault(found, found)
