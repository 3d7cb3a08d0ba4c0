"""What a site is made of: pages and files, each with what makes it.

How a module adds to the site.  It offers one or both of

    def pages(site: Site) -> Iterator[Page]     one Page each, cheap to list: nothing is worked out until `values()` is called
    def files(site: Site) -> Iterator[File]     the same for whatever is no page; `content()` gives the bytes

and is named in `PRODUCERS` of `build.py`.  `site.base` is the address the site will have, with a slash at its end, or "".

While `values()` or `content()` runs, every record that is read through `site.entries`, and every question put to a memo of the
site (`reads.py`), is written down; the next build makes only those again of which something has changed.  So read records
through `site.entries` and nowhere else, keep nothing between pages but with `Memo.kept` and `Memo.question`, and read no clock.
What needs no prose reads `site.bare`, so that a sentence that changes leaves it alone; what reads most records of a kind reads a
`Whole`; a variant with all it inherits is `site.stated(id)`, with its prose `site.whole[id]`.  A question that is dear to answer
anew is asked `lasting`.

`home` names what an output shares most of its work with, such as its family: outputs of one home are made by one process.
An output that leans on the bytes of others, such as a list of their sums, stands at a later `stage`: all of the stages before it
are made by then, and `site.made[address]` is the size and the sum of one of them (iterate over `site.made` for all addresses).

Values are plain: texts, numbers, lists and dictionaries; `Markup` only from `texts.markdown` and `drawn.trusted`.  A template
extends `base.html`, which has the blocks `styles` (link elements), `scripts` (classic deferred scripts, at the end of the head)
and `content`; it is given the values, `up` (leads to the root), `address`, `title`, `site` (title, license, maintainers).
Everything in `static/` is published at the root under its own path; a page names its extra ones in `styles` and `scripts`.
No page may hold a style attribute, a script of its own, or anything from elsewhere: the policy in `base.html` forbids it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

Values = dict[str, Any]


class Shared(dict[str, Any]):
    """Values that many pages show alike.

    written  the HTML of them, by the macro that makes it and what leads to the root from there
    """

    def __init__(self, values: Values) -> None:
        super().__init__(values)
        self.written: dict[tuple[str, str], Markup] = {}


@dataclass(frozen=True)
class Page:
    """One page.

    address   below the root, such as parts/kiln-lane-horn.html
    template  its file in `templates/`
    values    makes everything the template says
    record    the (kind, id) it is about, if it is about one
    styles, scripts   files of `static/` that it needs beyond those of every page
    home, stage   see above
    """

    address: str
    template: str
    title: str
    values: Callable[[], Values]
    record: tuple[str, str] | None = None
    styles: tuple[str, ...] = ()
    scripts: tuple[str, ...] = ()
    home: str = ""
    stage: int = 0


@dataclass(frozen=True)
class File:
    """One file that is no page: its address below the root, and what makes its bytes."""

    address: str
    content: Callable[[], bytes]
    home: str = ""
    stage: int = 0
