"""The site without a signal, in a real browser over a network that is then gone; and from a folder, where nothing is kept."""

import contextlib
import functools
import io
import json
import threading
from collections.abc import Callable, Iterator, Mapping
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from PIL import Image, ImageChops
from playwright.sync_api import Browser, BrowserContext, Page, expect
from tellmark.kb.check import check
from tellmark.site_builder import offline
from tellmark.site_builder.build import build
from tellmark.site_builder.preview import News, serve
from tellmark.site_builder.reads import Sum

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "site_builder" / "static"
Change = str | None | list[tuple[str, str]]
Folder = Callable[[Mapping[str, Change]], Path]


class Server:
    """Serves a folder, and notes what is asked for."""

    def __init__(self, folder: Path) -> None:
        self.asked: list[str] = []
        asked = self.asked

        class Quiet(SimpleHTTPRequestHandler):
            def do_GET(self) -> None:
                asked.append(urlsplit(self.path).path.lstrip("/"))
                with contextlib.suppress(ConnectionError):  # a browser that closes stops its worker in the middle of a file
                    super().do_GET()

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(folder)))
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self.address = f"http://127.0.0.1:{self._server.server_address[1]}/"

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def served() -> Iterator[Callable[[Path], Server]]:
    servers: list[Server] = []

    def serve(folder: Path) -> Server:
        servers.append(Server(folder))
        return servers[-1]

    yield serve
    for one in servers:
        one.stop()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    made = browser.new_context()
    yield made
    made.close()


def count(page: Page) -> dict[str, Any]:
    """What the worker says is kept; waits for it to have the page in hand."""
    return page.evaluate(
        """async () => {
          await navigator.serviceWorker.ready;
          while (!navigator.serviceWorker.controller) await new Promise(done => setTimeout(done, 50));
          const { port1, port2 } = new MessageChannel();
          const told = new Promise(done => { port1.onmessage = ({ data }) => done(data); });
          navigator.serviceWorker.controller.postMessage({ do: "count" }, [port2]);
          return told;
        }"""
    )


def keep_all(page: Page) -> dict[str, Any]:
    for _ in range(300):
        found = count(page)
        if found["kept"] == found["of"]:
            return found
        page.wait_for_timeout(200)
    raise AssertionError(count(page))


# In the browser ------------------------------------------------------------------------------------------------------------

PAGES = [
    "index.html",
    "",
    "variants/424-prairie-meridian-a-b2.html",
    "families/tender-70.html",
    "parts/kiln-lane-horn.html",
    "procedures/service-commutator-and-brushes.html",
    "sets/54-4-prairie-meridian-a-b-a.html",
    "pocket-sheets/tender-70.html",
]


def test_the_whole_site_without_a_network(site: Path, served: Callable[[Path], Server], context: BrowserContext) -> None:
    """One page was opened; then there is no network, and no server. Every other page opens, and the tools work."""
    server = served(site)
    page = context.new_page()
    said: list[str] = []
    hosts: set[str] = set()
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda message: said.append(message.text))
    context.on("request", lambda request: hosts.add(urlsplit(request.url).netloc))
    page.goto(server.address + "index.html")
    found = keep_all(page)
    assert found["first"]
    assert page.locator("link[rel=manifest]").get_attribute("href") == server.address + "site.webmanifest"
    server.stop()
    context.set_offline(True)
    for name in PAGES:
        page.goto(server.address + name)
        expect(page.locator("h1").first).to_be_visible()
        assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none", "styles are there"
        broken = "[...document.images].filter(one => one.complete && !one.naturalWidth).map(one => one.src)"
        assert page.evaluate(broken) == [], name
    page.goto(server.address + "identify.html#family=cab-diesel-420&views=all&number-place=nose-door")
    expect(page.locator("#identify-now").get_by_role("button", name="Continue")).to_be_visible()
    page.goto(server.address + "measure.html")
    page.get_by_label("Its length").fill("50 +- 0 mm")
    for mark, (x, y) in {"A": (0, 0), "B": (100, 0), "P": (0, 9), "Q": (0, 19)}.items():
        page.locator(f"#mark-{mark}-x").fill(str(x))
        page.locator(f"#mark-{mark}-y").fill(str(y))
    expect(page.locator("#measure-length")).to_contain_text("5.00 ± 0.71 mm")
    page.goto(server.address + "compare.html#single-gear,twin-gear")
    expect(page.locator(".side-by-side tbody tr").first).to_be_visible()
    page.goto(server.address + "search.html#q=horn")
    page.get_by_role("searchbox").first.fill("horn")
    expect(page.get_by_role("link", name="horn").first).to_be_visible()
    page.goto(server.address + "offline.html")
    expect(page.locator("#offline-kept")).to_contain_text(f"In all, {found['of']} of {found['of']} files are on this device.")
    assert said == []
    assert hosts == {urlsplit(server.address).netloc}


def test_from_a_folder_nothing_is_kept_and_nothing_fails(site: Path, context: BrowserContext) -> None:
    page = context.new_page()
    said: list[str] = []
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda message: said.append(message.text))
    for name in ("index.html", "offline.html", "variants/424-prairie-meridian-a-b2.html"):
        page.goto((site / name).as_uri())
        page.wait_for_load_state("load")
        assert page.locator("link[rel=manifest]").count() == 0
        assert page.evaluate("(navigator.serviceWorker?.controller ?? null) === null")
    assert said == []


def test_a_new_version_takes_the_place_of_the_old_one_as_a_whole(
    folder: Folder, tmp_path: Path, served: Callable[[Path], Server], context: BrowserContext
) -> None:
    """It is offered; what has not changed is not asked for again; when it is wanted, all of the old one is gone."""
    root, out = folder({}), tmp_path / "site"
    build(check(root)[0], out)
    server = served(out)
    page = context.new_page()
    page.goto(server.address + "families/tram.html")
    before = keep_all(page)["version"]
    variant = root / "families" / "tram" / "variants" / "gull-a.yaml"
    variant.write_text(variant.read_text("utf-8").replace("first batch", "earliest batch"), "utf-8")
    build(check(root)[0], out)
    server.asked.clear()
    page.reload()
    newer = page.locator(".newer")
    expect(newer).to_have_text("There is a newer record. Show it")
    expect(page.locator("main")).to_contain_text("first batch")
    assert "worker.js" in server.asked
    assert not {"site.css", "procedures.html", "vendor/minisearch.js"} & set(server.asked)
    with page.expect_navigation():
        newer.get_by_role("button").click()
    expect(page.locator("main")).to_contain_text("earliest batch")
    assert keep_all(page)["version"] != before
    assert len(page.evaluate("caches.keys()")) == 1
    server.stop()
    page.goto(server.address + "variants/gull-a.html")
    expect(page.locator("h1")).to_contain_text("earliest batch")


def test_of_a_large_record_what_was_seen_is_kept(
    folder: Folder, tmp_path: Path, served: Callable[[Path], Server], context: BrowserContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tools are kept all the same; a page that was never opened says so, and leads back."""
    monkeypatch.setattr(offline, "MOST_BYTES", 0)
    build(check(folder({}))[0], tmp_path / "site")
    server = served(tmp_path / "site")
    page = context.new_page()
    page.goto(server.address + "index.html")
    assert keep_all(page)["first"]
    page.goto(server.address + "variants/gull-a.html")
    expect(page.locator("h1")).to_contain_text("first batch")
    server.stop()
    page.goto(server.address + "identify.html")
    expect(page.locator("#identify-start")).to_be_visible()
    page.goto(server.address + "variants/gull-a.html")
    expect(page.locator("h1")).to_contain_text("first batch")
    page.goto(server.address + "variants/gull-b.html")
    expect(page.locator("h1")).to_have_text("Without a signal")
    expect(page.locator("#offline-asked")).to_contain_text("This page is not on this device")
    expect(page.get_by_role("link", name="Try it again")).to_have_attribute("href", "variants/gull-b.html")


def test_half_of_a_version_is_never_kept(
    folder: Folder, tmp_path: Path, served: Callable[[Path], Server], context: BrowserContext
) -> None:
    """A file that is not the one of the list: nothing is kept, and the site works as it is."""
    out = tmp_path / "site"
    build(check(folder({}))[0], out)
    (out / "find.js").write_text((out / "find.js").read_text("utf-8") + "\n", "utf-8")
    server = served(out)
    page = context.new_page()
    page.goto(server.address + "index.html")
    page.wait_for_function("navigator.serviceWorker.getRegistration().then(one => !one || (!one.installing && !one.active))")
    page.goto(server.address + "variants/gull-a.html")
    expect(page.locator("h1")).to_contain_text("first batch")
    assert page.evaluate("navigator.serviceWorker.controller === null")


def test_other_sites_of_the_same_server_are_left_alone(
    folder: Folder, tmp_path: Path, served: Callable[[Path], Server], context: BrowserContext
) -> None:
    out = tmp_path / "served"
    for name in ("one", "other"):
        build(check(folder({}))[0], out / name)
    server = served(out)
    page = context.new_page()
    for name in ("one", "other"):
        page.goto(f"{server.address}{name}/index.html")
        keep_all(page)
    names: list[str] = page.evaluate("caches.keys()")
    assert sorted(name.split(" ")[1] for name in names) == ["/one/", "/other/"]


def test_what_is_looked_at_while_it_is_written_is_not_kept(site: Path, context: BrowserContext) -> None:
    server = serve(site, 0, News())
    threading.Thread(target=server.serve_forever, daemon=True).start()
    page = context.new_page()
    page.goto(f"http://127.0.0.1:{server.server_address[1]}/parts.html", wait_until="domcontentloaded")
    page.wait_for_function("'askForNews' in globalThis")
    page.evaluate("dispatchEvent(new Event('load'))")  # which else comes when the script that waits for news is over
    page.wait_for_timeout(500)
    assert page.evaluate("navigator.serviceWorker.getRegistrations().then(all => all.length)") == 0
    assert page.locator("link[rel=manifest]").count() == 0
    page.goto("about:blank")
    server.shutdown()
    server.server_close()


# What the builder says -----------------------------------------------------------------------------------------------------


def made(*addresses: str, size: int = 1) -> dict[str, Sum]:
    return {address: Sum(size, "0" * 64) for address in addresses}


def test_the_tools_come_first_and_downloads_never() -> None:
    found = offline.plan(
        made(
            "index.html",
            "site.css",
            "identify/a.js",
            "variants/a.html",
            "variants/a.json",
            "data/all.sqlite",
            "changes.xml",
            "sitemap.xml",
        )
    )
    assert found == offline.Plan(["index.html", "site.css", "identify/a.js"], ["variants/a.html"], 0)


def test_a_folder_is_kept_whole_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(offline, "MOST_BYTES", 35)
    files = made("index.html", "families/a.html", "parts/a.html", "parts/b.html", "sources/a.html", size=10)
    assert offline.plan(files) == offline.Plan(["index.html"], ["families/a.html"], 3)


def test_everything_a_tool_loads_is_kept_at_once(site: Path) -> None:
    """Scripts outside the downloads, wherever a module put them; all pages of the demonstration follow."""
    text = (site / "worker.js").read_text("utf-8").partition("\n")[0]
    kept = json.loads(text.partition(" = ")[2].rstrip(";"))
    first, rest = ({address for address, _ in kept[name]} for name in ("first", "rest"))
    there = {path.relative_to(site).as_posix() for path in site.rglob("*") if path.is_file()}
    scripts = {name for name in there if name.endswith((".js", ".css")) and not name.startswith("data/")}
    assert scripts - {"worker.js"} <= first
    assert {name for name in there if name.endswith((".html", ".svg"))} == {
        name for name in first | rest if name.endswith((".html", ".svg"))
    }
    assert first | rest <= there
    assert not first & rest


def test_manifest(site: Path) -> None:
    """W3C, Web Application Manifest; its icons are as large as it says."""
    manifest = json.loads((site / "site.webmanifest").read_text("utf-8"))
    assert manifest["name"] == "Pellworth trains, a demonstration record"
    assert manifest["short_name"] == "Pellworth"
    assert (site / manifest["start_url"]).is_file()
    assert all((site / one["url"]).is_file() for one in manifest["shortcuts"])
    for icon in manifest["icons"][:-1]:
        with Image.open(site / icon["src"]) as image:
            assert "x".join(map(str, image.size)) == icon["sizes"]
    assert {icon["purpose"] for icon in manifest["icons"]} == {"any", "maskable"}


@pytest.mark.parametrize(("name", "size", "purpose"), offline.ICONS)
def test_icons_are_the_drawing(browser: Browser, name: str, size: int, purpose: str) -> None:
    """`python tests/site_builder/draw_icons.py` writes them anew."""
    svg = (STATIC / "icon.svg").read_text("utf-8")
    ground = offline.COLOR if purpose == "maskable" else "#fff"
    box = svg.replace("0 0 32 32", "-5 -5 42 42") if purpose == "maskable" else svg
    page = browser.new_page(viewport={"width": size, "height": size})
    page.set_content(f"<style>body{{margin:0;background:{ground}}}svg{{display:block;width:100vw;height:100vh}}</style>{box}")
    drawn = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    page.close()
    with Image.open(STATIC / name) as image:
        kept = Image.new("RGBA", image.size, ground)
        kept.alpha_composite(image.convert("RGBA"))
    apart = ImageChops.difference(drawn, kept.convert("RGB")).convert("L")
    assert sum(apart.histogram()[32:]) < size * size / 500
