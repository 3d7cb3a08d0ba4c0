"""Where a crawler finds the pages: sitemaps.org protocol 0.9, which needs to know the address of the site."""

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from urllib.parse import quote, urlsplit

NAMESPACE = "http://www.sitemaps.org/schemas/sitemap/0.9"
#: The most addresses that the protocol allows in one file.
MOST = 50_000


def sitemap_files(base: str, pages: Iterable[str], verified: Mapping[str, str]) -> Iterator[tuple[str, bytes]]:
    """(address, content) of the sitemap, and of robots.txt where a crawler would look for it.

    base: the address of the site, with a slash at its end.  pages: addresses below the root.  verified: of those of them
    that say it, the day they were last checked.
    """
    places = [_url(base, page, verified.get(page)) for page in sorted(pages)]
    if len(places) <= MOST:
        yield "sitemap.xml", _document("urlset", places)
    else:
        parts = {f"sitemap-{n + 1}.xml": places[n * MOST : (n + 1) * MOST] for n in range(-(-len(places) // MOST))}
        yield from ((name, _document("urlset", part)) for name, part in parts.items())
        yield (
            "sitemap.xml",
            _document("sitemapindex", [f"<sitemap><loc>{_address(base, name)}</loc></sitemap>" for name in parts]),
        )
    if urlsplit(base).path == "/":
        # RFC 9309: crawlers ask for /robots.txt of the host and nowhere else.
        yield "robots.txt", f"User-agent: *\nAllow: /\nSitemap: {base}sitemap.xml\n".encode()


def _url(base: str, page: str, day: str | None) -> str:
    return f"<url><loc>{_address(base, page)}</loc>{f'<lastmod>{day}</lastmod>' if day else ''}</url>"


def _address(base: str, page: str) -> str:
    """Absolute, escaped as the protocol asks; home is the folder itself."""
    text = escape(base + quote("" if page == "index.html" else page), quote=False)
    return text.replace("'", "&apos;").replace('"', "&quot;")


def _document(root: str, members: Iterable[str]) -> bytes:
    lines = "".join(f"{member}\n" for member in members)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<{root} xmlns="{NAMESPACE}">\n{lines}</{root}>\n'.encode()
