"""Which versions of packages are installed, without loading what reads their papers: that takes longer than all of it."""

import os
import sys
from collections.abc import Iterable, Iterator

#: How the folder or file with the papers of a package ends; before that stand its name and its version.
PAPERS = (".dist-info", ".egg-info")


def versions(packages: Iterable[str]) -> list[str]:
    """A text for each of the packages, another one when another version of it is installed."""
    papers = sorted({name.lower() for folder in sys.path for name in _inside(folder) if name.endswith(PAPERS)})
    return [_version(package, papers) for package in packages]


def _version(package: str, papers: Iterable[str]) -> str:
    begins = package.replace("-", "_") + "-"
    found = [name for name in papers if name.startswith(begins)]
    if found:
        return " ".join(found)
    from importlib.metadata import version  # for what is installed in no such way

    return f"{package} {version(package)}"


def _inside(folder: str) -> Iterator[str]:
    """The names in a folder; none in an archive, or where there is none."""
    try:
        yield from os.listdir(folder or ".")  # noqa: PTH208 (thousands of them)
    except OSError:
        return
