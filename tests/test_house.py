"""The house keeps its own rules: folders packaged, imports one way, files short, schemas drawn."""

import ast
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))

#: Which of our folders each folder may import (design: data flows one way).
IMPORTS = {
    "kb": set[str](),
    "identify": {"kb"},
    "appraise": {"kb", "identify"},
    "site_builder": {"kb", "identify", "appraise"},
    "cli": {"kb", "identify", "appraise", "site_builder"},
}
CODE = [folder for folder in IMPORTS if (ROOT / folder).is_dir()]
MODULES = [path for folder in CODE for path in sorted((ROOT / folder).rglob("*.py"))]
TESTS = sorted((ROOT / "tests").rglob("*.py"))


@pytest.mark.parametrize("folder", [*CODE, "entries"])
def test_folder_is_packaged(folder: str) -> None:
    assert f"tellmark.{folder}" in PROJECT["tool"]["setuptools"]["packages"]
    assert PROJECT["tool"]["setuptools"]["package-dir"][f"tellmark.{folder}"] == folder


def test_every_packaged_folder_is_there() -> None:
    for folder in PROJECT["tool"]["setuptools"]["package-dir"].values():
        assert (ROOT / folder).is_dir(), folder


def imported(path: Path) -> set[str]:
    """The folders of ours that a module imports, itself left out."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level == 2:
            found.add((node.module or "").split(".")[0])
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tellmark"):
            found.add("tellmark, absolute")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_imports_go_one_way(path: Path) -> None:
    folder = path.relative_to(ROOT).parts[0]
    assert imported(path) <= IMPORTS[folder]


@pytest.mark.parametrize("path", [*MODULES, *TESTS], ids=lambda path: path.relative_to(ROOT).as_posix())
def test_file_stays_short(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= 600


@pytest.mark.parametrize("folder", ["kb", "identify", "site_builder", "appraise"])
def test_libraries_know_no_command_line(folder: str) -> None:
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.split(".")[0] == "click" for name in names), path


def test_kernel_reads_no_records() -> None:
    """Arrays in, arrays out: the kernel imports nothing of the knowledge base."""
    kernel = ["arrays", "belief", "questions", "plan", "doubts", "hypotheses", "flips", "swaps", "views", "units", "marking"]
    for name in [*kernel, "lengths", "lots_kernel"]:
        assert imported(ROOT / "identify" / f"{name}.py") == set(), name


def test_every_output_has_a_schema() -> None:
    """A `tellmark/<name>/<version>` format has <name>.json in `schemas` of the folder that writes it, and the other way round."""
    formats = {
        node.value.split("/")[1]
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and node.value.count("/") == 2
        and node.value.startswith("tellmark/")
    }
    assert formats == {path.stem for folder in ("cli", "site_builder") for path in (ROOT / folder / "schemas").glob("*.json")}
