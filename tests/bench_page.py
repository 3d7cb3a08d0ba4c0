"""The next question in the page: what its data weighs, and how long it takes in Chromium beside numpy, also on a slow machine."""

import gzip
import json
import shutil
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

from playwright.sync_api import Page, sync_playwright
from tellmark.identify.compile import compile_entries
from tellmark.identify.questions import Question
from tellmark.identify.session import Session
from tellmark.kb.load import Entries
from tellmark.kb.reading import Between, Reading, Seen
from tellmark.site_builder.joined import joined
from tellmark.site_builder.packed import packed

Line = Callable[[str, str, str], None]

#: (candidates, milliseconds in numpy, milliseconds in the page that must be reached)
SIZES = ((2_000, 2, 4), (20_000, 20, 40))
ANSWERS, TIMES = 6, 15
#: A cheap telephone beside this machine, and the milliseconds that still feel immediate (R. B. Miller 1968: a tenth of a second).
SLOWER, IMMEDIATE = 4, 100
WEIGHT = 45
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
#: The milliseconds of every next question after one more answer, each asked anew several times; `first` warms the caches.
ASK = """
([answers, times]) => {
  let session = new kernelSession.Session(globalThis.compiled);
  const found = [];
  for (const [question, reading] of [null, ...answers].map((one) => one ?? [])) {
    const spent = [];
    for (let n = 0; n < times; n++) {
      const begun = performance.now();
      const after = question ? session.reply(question, reading) : session.with({});
      after.next;
      spent.push(performance.now() - begun);
      if (n === times - 1) session = after;
    }
    found.push(spent.sort((a, b) => a - b)[times >> 1]);
  }
  return found;
}
"""


def page(line: Line, large: Callable[[int], Entries]) -> None:
    """Prints what the page of a knowledge base of the design's size takes; `large` makes one."""
    print("\nNext question in the page, warm, 60 traits in 12 slots (belief, news and choice; one more answer each time)")
    chromium = shutil.which("chromium")
    if chromium is None:
        line("no Chromium here", "", "")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for variants, in_numpy, in_page in SIZES:
            compiled = compile_entries(large(variants))
            data = json.dumps(packed(compiled), ensure_ascii=False, separators=(",", ":")).encode()
            must = f"{WEIGHT} KiB" if variants == SIZES[0][0] else ""
            line(f"{variants:,} candidates, data compressed", f"{len(gzip.compress(data, 9)) / 1024:.1f} KiB", must)
            answers = first_answers(Session(compiled))
            line("numpy", spent(numpy_times(Session(compiled), answers)), f"{in_numpy} ms")
            opened = browser.new_page()
            unpacking = prepare(opened, data)
            line("page: unpacking, once", f"{unpacking:.0f} ms", "")
            plain = [[plain_question(question), plain_reading(reading)] for question, reading in answers]
            opened.evaluate(ASK, [plain, TIMES])
            line("page", spent(opened.evaluate(ASK, [plain, TIMES])), f"{in_page} ms")
            slow = opened.context.new_cdp_session(opened)
            slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})  # pyright: ignore[reportUnknownMemberType]
            line(f"page, machine {SLOWER} x slower", spent(opened.evaluate(ASK, [plain, TIMES])), f"{IMMEDIATE} ms")
            opened.close()
        browser.close()


def spent(times: Sequence[float]) -> str:
    return f"{statistics.median(times):.1f} ms, at most {max(times):.1f}"


def prepare(opened: Page, data: bytes) -> float:
    """Loads the kernel and the data; the milliseconds that unpacking takes."""
    for module in ("unpack", "session"):
        opened.add_script_tag(content=joined(f"kernel/{module}.js", f"kernel{module.title()}"))
    script = """(data) => { const packed = JSON.parse(data), begun = performance.now();
        globalThis.compiled = kernelUnpack.unpack(packed); return performance.now() - begun; }"""
    return float(opened.evaluate(script, data.decode()))


def first_answers(session: Session) -> list[tuple[Question, Reading]]:
    """Questions and an answer to each, no to every other one."""
    found: list[tuple[Question, Reading]] = []
    while len(found) < ANSWERS and (asked := session.next):
        trait = session.compiled.traits[asked.question.trait]
        outcome = asked.question.outcomes[len(found) % 2]
        cut = asked.question.cut
        reading = Seen(frozenset(trait.states[k] for k in outcome)) if cut is None else Between(cut, trait.most)
        found.append((asked.question, reading))
        session = session.reply(asked.question, reading)
    return found


def numpy_times(session: Session, answers: Sequence[tuple[Question, Reading]]) -> list[float]:
    """The same in numpy: the median milliseconds before the first answer and after each."""
    found: list[float] = []
    for answer in [None, *answers]:
        times: list[float] = []
        after = session
        for _ in range(TIMES):
            begun = time.perf_counter()
            after = session.reply(*answer) if answer else Session(session.compiled)
            _ = after.next
            times.append((time.perf_counter() - begun) * 1e3)
        found.append(statistics.median(times))
        session = after
    return found


def plain_question(question: Question) -> dict[str, Any]:
    return {
        "trait": question.trait,
        "outcomes": [list(outcome) for outcome in question.outcomes],
        "cut": question.cut,
        "form": question.form,
    }


def plain_reading(reading: Reading) -> dict[str, Any]:
    if isinstance(reading, Seen):
        return {"kind": "seen", "states": sorted(reading.states)}
    assert isinstance(reading, Between)
    return {"kind": "between", "low": reading.low, "high": reading.high}
