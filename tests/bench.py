"""What the design must reach, measured side by side with its reference in one run: `make bench`.

Times on a shared machine are noisy; read the ratio to bare Python, measured in the same run.
"""

import importlib.metadata
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from textwrap import dedent

from bench_page import page
from bench_policies import policies, trials
from bench_site import site
from tellmark.identify.compile import compile_entries
from tellmark.identify.session import Session
from tellmark.kb.cache import sound
from tellmark.kb.check import check
from tellmark.kb.load import Entries
from tellmark.kb.models import Family, KnowledgeBase, Part, Slot, SlotType, Variant

TELLMARK = Path(sys.executable).parent / "tellmark"
ROOT = Path(__file__).parents[1]


def seconds(run: Callable[[], object], times: int = 5) -> float:
    """The median of several runs."""
    found: list[float] = []
    for _ in range(times):
        begun = time.perf_counter()
        run()
        found.append(time.perf_counter() - begun)
    return statistics.median(found)


def line(what: str, reached: str, must: str) -> None:
    print(f"  {what:<58} {reached:>22}   {must}")


# Questions -------------------------------------------------------------------------------------------------------------


def zoo() -> Entries:
    """The UCI Zoo table (R. S. Forsyth 1990) as the orange3 distribution carries it, as entries."""
    path = importlib.metadata.distribution("orange3").locate_file("Orange/datasets/zoo.tab")
    header, _, _, *rows = [row.split("\t") for row in Path(str(path)).read_text("utf-8").splitlines()]
    animals = [
        {name.replace("_", "-"): cell for name, cell in zip(header, row, strict=True) if name not in ("name", "type")}
        for row in rows
    ]
    about = KnowledgeBase.model_validate(
        {
            "title": "Zoo",
            "license": "open",
            "mistakes": {"rare": 0.002},
            "not_in_the_record": 0.002,
            "views": {"side": {"name": "Side", "effort": 1}},
        }
    )
    entries = Entries(Path(), about)
    values = {name: sorted({animal[name] for animal in animals}) for name in animals[0]}
    traits = {
        name: {"name": name, "view": "side", "mistakes": "rare", "states": {f"s{v}": v for v in found}}
        for name, found in values.items()
    }
    entries.families["zoo"] = Family.model_validate({"name": "Zoo", "traits": traits})
    for number, animal in enumerate(animals):
        shows = {name: f"s{value}" for name, value in animal.items()}
        entries.variants[f"v{number}"] = Variant.model_validate({"name": f"animal {number}", "shows": shows})
        entries.home["variant", f"v{number}"] = "zoo"
    return entries


# Time ------------------------------------------------------------------------------------------------------------------


def large(variants: int, traits: int = 60, slots: int = 12, seed: int = 1) -> Entries:
    """A knowledge base of the design's size: traits spread over slots, four states each."""
    rng = random.Random(seed)
    about = KnowledgeBase.model_validate(
        {"title": "Large", "license": "made up", "views": {"side": {"name": "Side", "effort": 1}}}
    )
    entries = Entries(Path(), about)
    states = {f"s{k}": f"State {k}" for k in range(4)}
    own = traits // slots * 2
    family = {
        f"t{t}": {"name": f"Trait {t}", "view": "side", "slot": ("body", "finish")[t % 2], "states": states} for t in range(own)
    }
    records = {f"slot{s}": Slot(name=f"Slot {s}", type=f"type{s}") for s in range(slots - 2)}
    entries.families["big"] = Family.model_validate({"name": "Big", "traits": family, "slots": records})
    for s in range(slots - 2):
        described = {f"t{t}": {"name": f"Part trait {t}", "view": "side", "states": states} for t in range(traits // slots)}
        entries.slot_types[f"type{s}"] = SlotType.model_validate({"name": f"Type {s}", "traits": described})
        for p in range(12):
            shows = {f"t{t}": rng.choice(list(states)) for t in range(traits // slots)}
            entries.parts[f"part{s}-{p}"] = Part.model_validate(
                {"name": f"Part {p}", "shows": shows, "fits": {"big": [f"slot{s}"]}}
            )
            entries.home["part", f"part{s}-{p}"] = f"type{s}"
    for v in range(variants):
        shows = {name: rng.choice(list(states)) for name in family}
        fitted = {f"slot{s}": f"part{s}-{rng.randrange(12)}" for s in range(slots - 2)}
        entries.variants[f"v{v}"] = Variant.model_validate({"name": f"Variant {v}", "shows": shows, "fitted": fitted})
        entries.home["variant", f"v{v}"] = "big"
    return entries


def next_question() -> None:
    print("\nNext question, warm, 60 traits in 12 slots (numpy)")
    for variants, must in ((2_000, 2), (20_000, 20)):
        start = Session(compile_entries(large(variants)))
        first = start.questions

        def ask(start: Session = start) -> object:
            return Session(start.compiled).proposals[0]

        ask()
        line(f"{variants:,} candidates, {len(first)} questions", f"{seconds(ask) * 1e3:.1f} ms", f"{must} ms")


def process(*arguments: str) -> float:
    """Seconds of a whole process."""
    return seconds(lambda: subprocess.run(arguments, check=True, capture_output=True, cwd=ROOT), times=7)


def commands() -> None:
    bare = process(sys.executable, "-c", "pass")
    packages = process(sys.executable, "-c", "import numpy, pydantic, click")
    print("\nWhole processes (bare Python and the three packages measured in this run)")
    line("bare Python", f"{bare * 1e3:.0f} ms", "9 ms on the design's machine")
    line("numpy + pydantic + click", f"{packages * 1e3:.0f} ms", "about 170 ms on the design's machine")
    line("tellmark --help", f"{process(str(TELLMARK), '--help') * 1e3:.0f} ms", "80 ms")
    answers = str(ROOT / "tests" / "examples" / "late-motor.yaml")
    found = process(str(TELLMARK), "--entries", str(ROOT / "entries"), "identify", "--answers", answers, "--json")
    line("tellmark identify --json, warm", f"{found * 1e3:.0f} ms  ({found / packages:.2f} x)", "350 ms  (2.06 x)")


def loading() -> None:
    """2,000 files: those of the demonstration, and as many copies of one variant as it takes, each of its own id."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "entries"
        shutil.copytree(ROOT / "entries", root)
        source = root / "families" / "cab-diesel-420" / "variants"
        first = next(iter(sorted(source.glob("*.yaml")))).read_text("utf-8").split("\n- id:")[0]
        text = dedent("  " + first.removeprefix("- ").partition("\n")[2].lstrip())
        for number in range(2_000 - sum(1 for _ in root.rglob("*.yaml"))):
            (source / f"copy-{number}.yaml").write_text(text, "utf-8")
        assert check(root)[1] == []
        cold = seconds(lambda: check(root), times=3)
        sound(root)
        warm = seconds(lambda: sound(root), times=3)
    print("\nLoading and checking 2,000 entry files")
    line("cold", f"{cold:.2f} s", "2 s")
    line("from the store", f"{warm:.2f} s", "0.15 s")


if __name__ == "__main__":
    print(f"{'':60} {'here':>22}   must reach")
    next_question()
    page(line, large)
    commands()
    loading()
    site(line)
    policies(Session(compile_entries(zoo())))
    trials()
