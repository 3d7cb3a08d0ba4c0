"""Charts as SVG text, from plain numbers.  Whoever shows one puts its numbers beside it as a table.

Positions are in units of the `viewBox`, one of which is about a pixel on a wide page; colors and faces are those of `site.css`,
by class.  No element has a style of its own, which the policy of the pages forbids.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median, quantiles

from markupsafe import Markup, escape

WIDTH = 720
#: What is this many times the spread of the middle half above it is drawn at the edge.
FAR = 3.0


@dataclass(frozen=True)
class Bar:
    """Something that lasted from one year to another, both included."""

    name: str
    first: int
    last: int


@dataclass(frozen=True)
class Dot:
    """A price on a day; `whole`: nothing was missing."""

    day: str
    price: float
    whole: bool


@dataclass(frozen=True)
class Spread:
    """Of several prices: the middle one, and between which two the middle half lies."""

    middle: float
    low: float
    high: float


def timeline(groups: Sequence[tuple[str, Sequence[Bar]]], title: str, ident: str) -> Markup | None:
    """Bars below each other in named groups, over the years they span. None where nothing has years."""
    bars = [bar for _, some in groups for bar in some]
    if not bars:
        return None
    first, last = min(bar.first for bar in bars), max(bar.last for bar in bars)
    left, right, row = 4.0, 4.0, 11.0
    scale = (WIDTH - left - right) / (last - first + 1)
    parts: list[str] = []
    y = 26.0
    for name, some in groups:
        y += 16
        parts.append(f'<text class="name" x="{left:g}" y="{y:g}">{escape(name)}</text>')
        y += 5
        for bar in sorted(some, key=lambda one: (one.first, one.last)):
            x, width = left + (bar.first - first) * scale, (bar.last - bar.first + 1) * scale - 2
            said = f"{escape(bar.name)}, {_span(bar.first, bar.last)}"
            parts.append(
                f'<rect class="bar" x="{x:.1f}" y="{y:g}" width="{width:.1f}" height="{row - 4:g}"><title>{said}</title></rect>'
            )
            y += row
    height = y + 4
    step = next(step for step in (1, 2, 5, 10, 20, 50) if (last - first + 1) / step <= 12)
    marks = [year for year in range(first, last + 1) if year % step == 0] or [first]
    grid = "".join(
        f'<path class="grid" d="M{left + (year - first) * scale:.1f} 22V{height:g}"/>'
        f'<text class="mark" x="{left + (year - first) * scale + 2:.1f}" y="16">{year}</text>'
        for year in marks
    )
    desc = f"{len(bars)} in {len(groups)} groups, {_span(first, last)}. The table holds the same."
    return _chart(ident, title, desc, height, grid + "".join(parts))


def prices(dots: Sequence[Dot], title: str, currency: str, ident: str) -> Markup | None:
    """Every sale over the years, with the middle half of all prices as a band. None without sales."""
    if not dots:
        return None
    seen = spread([dot.price for dot in dots])
    days = [date.fromisoformat(dot.day) for dot in dots]
    start, end = min(days).year, max(days).year + 1
    from_, to = date(start, 1, 1).toordinal(), date(end, 1, 1).toordinal()
    usual = [dot.price for dot in dots if not _far(dot.price, seen)] or [dot.price for dot in dots]
    top = _round_up(max(usual))
    left, right, upper, lower = 52.0, 8.0, 20.0, 190.0

    def x(day: date) -> float:
        return left + (WIDTH - left - right) * (day.toordinal() - from_) / (to - from_)

    def y(price: float) -> float:
        return max(upper - 10, lower - (lower - upper) * price / top)

    edge = WIDTH - right
    marks = [(top * k / 4, y(top * k / 4)) for k in range(5)]
    parts = [
        f'<path class="grid" d="M{left:g} {down:.1f}H{edge:g}"/>'
        f'<text class="mark end" x="{left - 6:g}" y="{down + 4:.1f}">{at:g}</text>'
        for at, down in marks
    ]
    step = next(step for step in (1, 2, 5, 10, 20) if (end - start) / step <= 12)
    parts += [
        f'<text class="mark middle" x="{x(date(year, 7, 2)):.1f}" y="{lower + 18:g}">{year}</text>'
        for year in range(start, end, step)
    ]
    if len(dots) > 3:
        height = max(1.0, y(seen.low) - y(seen.high))
        parts.append(
            f'<rect class="range" x="{left:g}" y="{y(seen.high):.1f}" width="{edge - left:g}" height="{height:.1f}"/>'
            f'<path class="middle-line" d="M{left:g} {y(seen.middle):.1f}H{edge:g}"/>'
        )
    for dot, day in zip(dots, days, strict=True):
        said = f"<title>{dot.day}: {dot.price:g} {escape(currency)}</title>"
        if dot.price > top:
            parts.append(f'<path class="dot far" d="M{x(day) - 4:.1f} {upper - 6:g}h8l-4 -7z">{said}</path>')
        else:
            look = "dot" if dot.whole else "dot open"
            parts.append(f'<circle class="{look}" cx="{x(day):.1f}" cy="{y(dot.price):.1f}" r="4">{said}</circle>')
    beyond = sum(dot.price > top for dot in dots)
    desc = f"{len(dots)} sales, the middle one {seen.middle:g} {currency}. " + (
        f"{beyond} far above the rest, drawn at the upper edge. " if beyond else ""
    )
    return _chart(ident, title, desc + "The table holds the same.", lower + 26, "".join(parts))


def spread(values: Sequence[float]) -> Spread:
    """The middle of some prices and of their halves; of fewer than four, the least and the greatest."""
    if len(values) < 4:
        return Spread(median(values), min(values), max(values))
    low, _, high = quantiles(values, n=4, method="inclusive")
    return Spread(median(values), low, high)


def _far(price: float, seen: Spread) -> bool:
    return price > seen.high + FAR * (seen.high - seen.low)


def _round_up(value: float) -> float:
    """The next number above that is easy to read."""
    if value <= 0:
        return 1.0
    power = 10.0
    while power < value:
        power *= 10
    return next(step * power / 10 for step in (1, 1.2, 1.6, 2, 2.4, 3.2, 4, 5, 6, 8, 10) if step * power / 10 >= value)


def span_bar(first: int, last: int, whole: tuple[int, int]) -> Markup:
    """A short bar in a longer one, to stand beside the words for it."""
    scale = 120 / (whole[1] - whole[0] + 1)
    x, width = round((first - whole[0]) * scale, 1), round((last - first + 1) * scale, 1)
    drawn = f'<path d="M{x:g} 4h{width:g}"/>'
    return Markup(f'<svg class="span" viewBox="0 0 120 8" aria-hidden="true" focusable="false">{drawn}</svg>')


def labels(places: Iterable[tuple[float, float]], apart: float) -> Iterator[tuple[float, float]]:
    """The places of numbered marks, moved down until no two are nearer than `apart`."""
    taken: list[tuple[float, float]] = []
    for x, y in places:
        while any(abs(x - a) < apart and abs(y - b) < apart for a, b in taken):
            y += apart
        taken.append((x, y))
        yield x, y


def _span(first: int, last: int) -> str:
    return f"{first}" if first == last else f"{first} to {last}"


def _chart(ident: str, title: str, desc: str, height: float, inner: str) -> Markup:
    named = f'role="img" aria-labelledby="{ident}-title" aria-describedby="{ident}-desc"'
    words = f'<title id="{ident}-title">{escape(title)}</title><desc id="{ident}-desc">{escape(desc)}</desc>'
    return Markup(f'<svg class="chart" viewBox="0 0 {WIDTH} {height:g}" {named}>{words}{inner}</svg>')
