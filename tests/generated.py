"""A large knowledge base made of the demonstration: its families with their sets, sightings and sales, several times over.

`python tests/generated.py FOLDER [RECORDS]` writes one.
"""

import re
import shutil
import sys
from pathlib import Path

ENTRIES = Path(__file__).parents[1] / "entries"
#: Folders of families, and the files in them that say ids of variants and sets of their own.
OWN = ("variants/*.yaml", "sets/*.yaml")


def generate(root: Path, records: int = 2_000) -> Path:
    """Writes to `root` a copy of the demonstration with at least so many variants, sets, parts and other records with pages."""
    shutil.copytree(ENTRIES, root)
    own = _ids(ENTRIES)
    paged = len(own) + sum(1 for _ in ENTRIES.glob("parts/*/*.yaml")) + sum(1 for _ in ENTRIES.glob("procedures/*.yaml"))
    copy = 2
    while paged < records:
        for family in sorted(path for path in (ENTRIES / "families").iterdir() if path.is_dir()):
            _copy(family, root, own, copy)
        paged += len(own)
        copy += 1
    return root


def _ids(root: Path) -> dict[str, str]:
    """{id: kind} of everything that a copy must have ids of its own for: families, variants and sets."""
    found: dict[str, str] = {path.name: "family" for path in (root / "families").iterdir() if path.is_dir()}
    for kind, pattern in (("variant", "families/*/variants/*.yaml"), ("set", "families/*/sets/*.yaml")):
        for path in root.glob(pattern):
            listed = re.findall(r"^(?:- |  )id: (\S+)$", path.read_text("utf-8"), re.MULTILINE)
            found |= dict.fromkeys(listed or [path.stem], kind)
    return found


def _copy(family: Path, root: Path, own: dict[str, str], number: int) -> None:
    """One family once more, every id of a family, variant or set in its files with the number of the copy behind it."""
    words = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, sorted(own, key=len, reverse=True)))})(?![\w-])")

    def renamed(text: str) -> str:
        return words.sub(rf"\1-c{number}", text)

    for source in sorted(path for path in family.rglob("*") if path.is_file()):
        inside = source.relative_to(family)
        stem = renamed(inside.stem) if inside.parts[0] in ("variants", "sets") else inside.stem
        target = root / "families" / f"{family.name}-c{number}" / inside.parent / f"{stem}{inside.suffix}"
        target.parent.mkdir(parents=True, exist_ok=True)
        text = source.read_text("utf-8")
        if source.suffix == ".yaml":
            text = renamed(text)
            if inside.name == "family.yaml":
                text = re.sub(r"^name: (.*)$", rf"name: \1, copy {number}", text, count=1, flags=re.MULTILINE)
        target.write_text(text, "utf-8")


if __name__ == "__main__":
    generate(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 2_000)
