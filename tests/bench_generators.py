"""The time that two general static-site generators take for as many pages as the site has, each with the text of one of them.

Every page of the site becomes a Markdown file with its headings, paragraphs and lists; a table becomes a list.  The default theme
is used, no plugins, and no menu of all pages, which would be rendered on every page.  What they render is smaller than ours:
drawings, tables and structured data are left out.
"""

import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from lxml import html

BIN = Path(sys.executable).parent
#: Elements whose text becomes a paragraph of its own, and how it begins.
BEGINS = {
    "h1": "# ",
    "h2": "## ",
    "h3": "### ",
    "h4": "#### ",
    "p": "",
    "li": "- ",
    "dt": "- ",
    "dd": "- ",
    "td": "- ",
    "th": "- ",
}
#: What Markdown would take for marks.
MARKS = str.maketrans({mark: f"\\{mark}" for mark in "\\`*_{}[]<>#|"})
#: Nothing that would make them work more than once for each page.
MKDOCS = "site_name: Pages\nplugins: []\nuse_directory_urls: false\nnav:\n  - index.md\nlog_level: error\n"
PELICAN = """\
SITENAME, TIMEZONE = "Pages", "UTC"
ARTICLE_PATHS, PAGE_PATHS = [], ["docs"]
DISPLAY_PAGES_ON_MENU = False
FEED_ALL_ATOM = CATEGORY_FEED_ATOM = TRANSLATION_FEED_ATOM = AUTHOR_FEED_ATOM = AUTHOR_FEED_RSS = None
"""


@dataclass(frozen=True)
class Took:
    """What a process and its own processes took: seconds of the processor and of the clock."""

    processor: float
    clock: float


def took(*command: str | Path, cwd: Path, **environment: str) -> Took:
    """Runs a command to its end."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(list(map(str, command)), cwd=cwd, check=True, capture_output=True, env=os.environ | environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return Took(processor, time.perf_counter() - begun)


def generators(folder: Path, pages: int) -> Iterator[tuple[str, Took, float]]:
    """(name and version, what it took, bytes a page) of each generator, given the sources of so many pages in `folder`."""
    (folder / "mkdocs.yml").write_text(MKDOCS, "utf-8")
    (folder / "pelicanconf.py").write_text(PELICAN, "utf-8")
    commands = {
        "mkdocs": (BIN / "mkdocs", "build", "--quiet", "--site-dir", "by-mkdocs"),
        "pelican": (BIN / "pelican", ".", "--settings", "pelicanconf.py", "--output", "by-pelican", "--quiet"),
    }
    for name, command in commands.items():
        spent = took(*command, cwd=folder)
        made = [path for path in (folder / f"by-{name}").rglob("*.html") if path.name != "404.html"]
        assert len(made) >= pages, f"{name} made {len(made)} of {pages} pages"
        version = subprocess.run([command[0], "--version"], capture_output=True, text=True, check=True).stdout.split()
        number = next(word.rstrip(",") for word in version if word[0].isdigit())
        yield f"{name} {number}", spent, sum(path.stat().st_size for path in made) / len(made)


def write_sources(site: Path, folder: Path) -> None:
    """The pages of a site as Markdown, below `folder`."""
    for path in sorted(site.rglob("*.html")):
        target = (folder / "docs" / path.relative_to(site)).with_suffix(".md")
        target.parent.mkdir(parents=True, exist_ok=True)
        inside = path.relative_to(site).with_suffix("").as_posix()
        page = html.fromstring(path.read_bytes())
        head = f"Title: {inside}\nSlug: {inside}\n\n"  # read by both
        target.write_text(head + "\n\n".join(_paragraphs(page)) + "\n", "utf-8")


def _paragraphs(page: html.HtmlElement) -> Iterator[str]:
    for element in page.iter(*BEGINS):
        text = " ".join(element.text_content().split()).translate(MARKS)
        if text:
            yield f"{BEGINS[element.tag]}{text}"
