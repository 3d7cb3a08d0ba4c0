"""The store of sound entries: never stale, whatever is changed and however fast; and it says the same as reading afresh."""

# Two tests write a store as only chance could: they look inside.
# pyright: reportPrivateUsage=false

import os
import pickle
import shutil
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from tellmark.kb import cache
from tellmark.kb.cache import fingerprint, sound
from tellmark.kb.check import Checked, Unit, check, checked
from tellmark.kb.leaning import Leaned
from tellmark.kb.load import FIELDS, Entries, Known

ENTRIES = Path(__file__).parents[2] / "entries"
Folder = Callable[[Mapping[str, object]], Path]
VARIANT = "families/tram/variants/gull-a.yaml"


@pytest.fixture(autouse=True)
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store of this test's own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("TELLMARK_CACHE", raising=False)
    return tmp_path / "cache"


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files that are read while the test runs."""
    seen: list[str] = []
    really = checked

    def watched(root: Path, known: Known | None = None, leaned: Mapping[Unit, Leaned] | None = None) -> Checked:
        unchanged = known.unchanged if known else ()
        paths = (path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())
        seen.extend(sorted(path for path in paths if path not in unchanged))
        return really(root, known=known, leaned=leaned)

    monkeypatch.setattr("tellmark.kb.check.checked", watched)
    return seen


def everything(entries: Entries) -> list[object]:
    """All that entries hold, in its order."""
    kinds = [list(entries.of(kind).items()) for kind in FIELDS]
    return [entries.about, entries.sellers, kinds, list(entries.places.items()), sorted(entries.home.items()), entries.lost]


def rewritten(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), "utf-8")


def test_the_store_gives_what_was_read(folder: Folder, reads: list[str]) -> None:
    root = folder({})
    fresh = everything(sound(root)[0])
    reads.clear()
    kept, findings = sound(root)
    assert reads == []
    assert findings == []
    assert everything(kept) == fresh
    assert everything(pickle.loads(pickle.dumps(sound(root)[0]))) == fresh, "also before anything was unpacked"


def test_the_demonstration_from_the_store() -> None:
    assert everything(sound(ENTRIES)[0]) == everything(sound(ENTRIES)[0]) == everything(check(ENTRIES)[0])


def test_only_what_has_changed_is_read(folder: Folder, reads: list[str]) -> None:
    root = folder({})
    sound(root)
    reads.clear()
    rewritten(root / VARIANT, "first batch", "earliest batch")
    assert sound(root)[0].variants["gull-a"].name == "Gull Harbor streetcar, earliest batch"
    assert reads == [VARIANT]
    reads.clear()
    sound(root)
    assert reads == []


def test_a_change_within_one_tick_of_the_clock(folder: Folder) -> None:
    """The same size and the same times: only the content tells."""
    root = folder({})
    sound(root)
    before = (root / VARIANT).stat()
    rewritten(root / VARIANT, "first batch", "fifth batch")
    os.utime(root / VARIANT, ns=(before.st_atime_ns, before.st_mtime_ns))
    packed = next(iter((root.parent / "cache").rglob("*.pickle")))
    code = cache._code()
    kept = cache.fetched(packed, code, cache._Store)
    assert kept is not None
    changed = (root / VARIANT).stat().st_ctime_ns
    kept.files[VARIANT] = kept.files[VARIANT]._replace(changed=changed)
    cache.keep(packed, code, kept)
    assert sound(root)[0].variants["gull-a"].name == "Gull Harbor streetcar, fifth batch"


def test_a_time_set_back_hides_nothing(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time of the content can be set back; that of the change itself cannot."""
    root = folder({})
    monkeypatch.setattr(cache, "DOUBT", -(10**12))
    sound(root)
    before = (root / VARIANT).stat()
    time.sleep(0.05)
    rewritten(root / VARIANT, "first batch", "fifth batch")
    os.utime(root / VARIANT, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert sound(root)[0].variants["gull-a"].name == "Gull Harbor streetcar, fifth batch"


def test_digests_are_left_out_once_nobody_doubts(folder: Folder, store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = folder({})
    sound(root)

    def digests() -> int:
        kept = cache.fetched(next(iter(store.rglob("*.pickle"))), cache._code(), cache._Store)
        assert kept is not None
        return sum(bool(one.digest) for one in kept.files.values())

    assert digests() > 0
    monkeypatch.setattr(cache, "DOUBT", -(10**12))
    sound(root)
    assert digests() == 0


def test_a_link_that_leads_elsewhere(folder: Folder) -> None:
    root = folder({})
    ours, theirs = (root / name for name in ("one.txt", "two.txt"))
    ours.write_text("name: One\nlike: gull-a\n", "utf-8")
    theirs.write_text("name: Two\nlike: gull-a\n", "utf-8")
    os.utime(ours, ns=(0, 0))
    os.utime(theirs, ns=(0, 0))
    link = root / "families/tram/variants/linked.yaml"
    link.symlink_to(ours)
    assert sound(root)[0].variants["linked"].name == "One"
    link.unlink()
    link.symlink_to(theirs)
    assert sound(root)[0].variants["linked"].name == "Two"


def test_a_link_that_leads_nowhere(folder: Folder) -> None:
    """It has no times to compare, but it is there."""
    root = folder({})
    assert sound(root)[1] == []
    (root / "families/tram/variants/linked.yaml").symlink_to(root / "nowhere.txt")
    assert sound(root)[1] == check(root)[1] != []


def test_a_photograph_that_the_store_does_not_watch(folder: Folder) -> None:
    """In a hidden folder, whose files nobody compares: such entries are read afresh."""
    named = "photographs: [{file: .shelf/gull.png, shows: A gull., license: CC0-1.0, credit: Ines Calloway}]\n"
    root = folder({VARIANT: [("kind: motor\n", f"kind: motor\n{named}")]})
    (root / ".shelf").mkdir()
    Image.new("RGB", (2, 2)).save(root / ".shelf/gull.png")
    assert sound(root)[1] == []
    (root / ".shelf/gull.png").unlink()
    assert sound(root)[1] == check(root)[1] != []


def test_what_lies_beside_a_change_is_packed_as_it_was(folder: Folder, store: Path) -> None:
    root = folder({})

    def pieces() -> cache.Packed:
        kept = cache.fetched(next(iter(store.rglob("*.pickle"))), cache._code(), cache._Store)
        assert kept is not None
        return kept.packed

    sound(root)
    before = pieces()
    rewritten(root / VARIANT, "first batch", "earliest batch")
    sound(root)
    now = pieces()
    other = {(name, piece) for name, held in now.items() for piece, data in held.items() if before[name].get(piece) != data}
    assert other == {("variants", "tram")}


def test_the_folder_is_where_it_is_called_now(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    root = folder({})
    sound(root)
    monkeypatch.chdir(root.parent)
    assert sound(Path(root.name))[0].root == Path(root.name)


@pytest.mark.parametrize("damage", ["", "cut off", "another value"])
def test_a_damaged_store_is_not_believed(folder: Folder, store: Path, damage: str) -> None:
    root = folder({})
    fresh = everything(sound(root)[0])
    packed = next(iter(store.rglob("*.pickle")))
    data = packed.read_bytes()
    code = data[:64]
    packed.write_bytes({"": b"", "cut off": data[: len(data) // 2], "another value": code + pickle.dumps("hello")}[damage])
    assert everything(sound(root)[0]) == fresh


def test_what_is_not_sound_is_not_kept(folder: Folder) -> None:
    root = folder({VARIANT: [("kind: motor", "kind: moter")]})
    first = [str(one) for one in sound(root)[1]]
    assert len(first) == 1
    assert [str(one) for one in sound(root)[1]] == first


#: Changes to single files, each with what it is written from; None: the file is gone.
CHANGES: dict[str, tuple[str, str | None]] = {
    "a slip in a variant": (VARIANT, "name: Gull\nkind: moter\nshows: {rof: plain}\n"),
    "a variant that is gone": (VARIANT, None),
    "a variant said twice": ("families/tram/variants/again.yaml", "- {id: gull-b, name: Again, kind: motor}\n"),
    "said twice, and read first": ("families/tram/variants/aa.yaml", "- {id: gull-b, name: Again, kind: motor}\n"),
    "a family that cannot be read": ("families/tram/family.yaml", "name: [\n"),
    "a family that is gone": ("families/tram/family.yaml", None),
    "a knowledge base that cannot be read": ("knowledge-base.yaml", "title: [\n"),
    "another knowledge base": ("knowledge-base.yaml", "title: Other\nlicense: none\nviews: {side: {name: Side, effort: 2}}\n"),
    "traits that are gone": ("traits.yaml", None),
    "a table with a slip": ("sales/2021.csv", "date,variant,price\n2021-06-01,gull-c,85\n2021-06-02,gull-a,x\n"),
    "a part that is gone": ("parts/wheel/disc.yaml", None),
    "sellers": ("sellers.yaml", "idle: [as found]\n"),
    "a file nobody reads": ("notes.txt", "hello\n"),
    "a file in the wrong place": ("families/tram/other.yaml", "name: Other\n"),
    "a livery besides": ("liveries.yaml", "gull: {name: Gull}\nheron: {name: Heron, shows: {stripe: decal}}\n"),
}


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(names=st.lists(st.sampled_from(sorted(CHANGES)), min_size=1, max_size=4, unique=True))
def test_changed_files_are_told_as_if_all_were_read(
    folder: Folder, tmp_path_factory: pytest.TempPathFactory, names: list[str]
) -> None:
    """Every record, in its order, and every message with its place."""
    base = tmp_path_factory.mktemp("changed")
    root = base / "record"
    shutil.copytree(folder({}), root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(base / "cache"))
        assert sound(root)[1] == []
        for name in names:
            path, text = CHANGES[name]
            (root / path).unlink(missing_ok=True)
            if text is not None:
                (root / path).write_text(text, "utf-8")
        entries, findings = sound(root)
        afresh, said = check(root)
    assert [str(one) for one in findings] == [str(one) for one in said]
    assert everything(entries) == everything(afresh)


def test_the_print_of_a_folder_changes_with_it(folder: Folder) -> None:
    root = folder({})
    before = fingerprint(root)
    assert fingerprint(root) == before
    (root / "notes.txt").write_text("hello", "utf-8")
    assert fingerprint(root) != before
