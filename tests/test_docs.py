"""The documentation says the truth: every console block of README.md and DEVELOPERS.md is what the commands print.

`python tests/test_docs.py` writes the blocks anew.
"""

import re
import shlex
import sys
import tempfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from tellmark.cli.main import COMMANDS, main

ROOT = Path(__file__).parents[1]
PAGES = ["README.md", "DEVELOPERS.md"]
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)


def printed(block: str, folder: Path) -> str:
    """The block with what its commands print. Lines that begin with `> ` are typed into the command before them."""
    found: list[str] = []
    lines = [line for line in block.splitlines() if line.startswith(("$ ", "> "))]
    for index, line in enumerate(lines):
        if line.startswith("$ "):
            typed: list[str] = []
            for later in lines[index + 1 :]:
                if not later.startswith("> "):
                    break
                typed.append(later[2:])
            found += [line, *run(line[2:], typed, folder)]
    return "".join(f"{line}\n" for line in found)


def run(command: str, typed: list[str], folder: Path) -> list[str]:
    """What one command prints, as on a terminal, where what is typed shows."""
    command, _, here = command.partition(" <<< ")
    words = [str(folder / word) if word == "made" else word for word in shlex.split(command)[1:]]
    words = [str(ROOT / word) if word.startswith("tests/") else word for word in words]
    given = shlex.split(here)[0] if here else "".join(f"{line}\n" for line in typed)
    entries = [] if "--entries" in words else ["--entries", str(ROOT / "entries")]
    result = CliRunner().invoke(main, [*entries, *words], input=given, catch_exceptions=False)
    text = result.output.replace(f"{folder}/", "").replace(f"{ROOT}/", "")
    for line in typed:
        text = re.sub(r"^> *$", f"> {line}", text, count=1, flags=re.MULTILINE)
    return [line.rstrip() for line in text.rstrip("\n").splitlines()]


def renewed(page: str, folder: Path) -> str:
    return BLOCK.sub(lambda found: f"```console\n{printed(found[1], folder)}```", page)


@pytest.mark.parametrize("page", PAGES)
def test_console_blocks_are_what_is_printed(page: str, tmp_path: Path) -> None:
    text = (ROOT / page).read_text("utf-8")
    assert renewed(text, tmp_path) == text


def test_every_command_is_documented() -> None:
    text = "".join((ROOT / page).read_text("utf-8") for page in PAGES)
    assert [name for name in COMMANDS if f"tellmark {name}" not in text] == []


def test_first_paragraph_states_the_job() -> None:
    title, job, *_ = (ROOT / "README.md").read_text("utf-8").split("\n\n")
    assert title == "# tellmark"
    assert all(word in job for word in ("variant", "batch", "set", "parts", "questions"))


def test_every_file_named_is_there() -> None:
    for page in PAGES:
        for name in re.findall(r"`((?:kb|identify|site_builder|cli|tests|entries)/[\w./-]*)`", (ROOT / page).read_text("utf-8")):
            assert (ROOT / name).exists(), (page, name)


if __name__ == "__main__":
    for name in PAGES:
        with tempfile.TemporaryDirectory() as place:
            path = ROOT / name
            path.write_text(renewed(path.read_text("utf-8"), Path(place)), "utf-8")
    sys.exit()
