"""Takes the pictures of the documents: `python tools/make_pictures.py`, with Chromium, in a few minutes.

A browser of the size of a phone walks through the first month of an invented tub, on the real pages and a clock of
its own. Pictures are kept with few colours, since they are text on paper.
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import struct
import sys
import threading
import time
import tomllib
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import uvicorn
from numpy.typing import NDArray
from playwright.sync_api import Page, expect, sync_playwright

__all__ = ["Clock", "Scene", "main", "small_png"]

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "docs" / "pictures"
BEGIN = datetime(2026, 11, 4, 9, 0, tzinfo=UTC)
ZONE = "Europe/London"
SIZE = {"width": 390, "height": 780}
MOST_COLOURS = 32
PATIENCE = 120_000  # ms
OF_PAGES = (  # what the how-to pages show of the tub after its first month
    ("happened", "/happened"),
    ("something-else", "/about"),
    ("troubles", "/troubles?sign=foam"),
    ("outlook", "/outlook"),
)
OF_A_SHELF = (
    ("ledger", "/ledger?change=400+L", "h1"),
    ("due", "/due", "h1"),
    ("stock", "/stock", "h2:has-text('To buy')"),
)
LET = {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine", "setting": "let", "guideline": "uk-business"}


class Clock:
    """A clock that is set by hand."""

    def __init__(self, now: datetime) -> None:
        self.time = now

    def now(self) -> datetime:
        """The time that was set."""
        return self.time


class Scene:
    """The tub, its keeper's use cases, and the page that is looked at."""

    def __init__(self, page: Page, keeping: Any, clock: Clock) -> None:
        self.page, self.keeping, self.clock, self.tub = page, keeping, clock, ""

    def later(self, **span: float) -> None:
        """Time passes, here and on the phone."""
        self.clock.time += timedelta(**span)
        self.page.clock.set_fixed_time(self.clock.time)

    def open(self, path: str) -> None:
        """Opens a page of the tub."""
        self.page.goto(f"/tubs/{self.tub}{path}")

    def tell(self, kind: str, **body: Any) -> None:
        """An entry in the logbook, now."""
        from tubwater.services.ports import Kind

        self.keeping.record(self.tub, Kind(kind), body)

    def picture(self, name: str, top: str = "") -> None:
        """Takes the page as the phone shows it, or from an element on."""
        if top:
            self.page.locator(top).first.evaluate("e => window.scrollTo(0, e.offsetTop - 12)")
        taken = small_png(self.page, self.page.screenshot(animations="disabled"))
        (FOLDER / f"{name}.png").write_bytes(taken)
        print(f"{name}.png  {len(taken)} bytes")


def small_png(page: Page, picture: bytes) -> bytes:
    """The picture with few colours, the commonest and the brightest and darkest of the rest."""
    blank = page.context.new_page()
    width, height, raw = blank.evaluate(
        """async picture => {
            const image = new Image(); image.src = "data:image/png;base64," + picture; await image.decode();
            const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext("2d");
            pen.drawImage(image, 0, 0);
            const data = pen.getImageData(0, 0, image.width, image.height).data;
            let text = ""; for (let i = 0; i < data.length; i += 8192)
                text += String.fromCharCode(...data.subarray(i, i + 8192));
            return [image.width, image.height, btoa(text)]; }""",
        base64.b64encode(picture).decode(),
    )
    blank.close()
    pixels = np.frombuffer(base64.b64decode(raw), np.uint8).reshape(height * width, 4)[:, :3]
    palette, index = few_colours(pixels)
    return written(width, height, palette, index)


def few_colours(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The palette, and the nearest of it for each pixel."""
    colours, place, counts = np.unique(pixels, axis=0, return_inverse=True, return_counts=True)
    weights, chosen = counts.astype(float), [int(np.argmax(counts))]
    wide = colours.astype(float)
    apart = np.square(wide - wide[chosen[0]]).sum(axis=1)
    while len(chosen) < min(MOST_COLOURS, len(colours)):  # the next is what is common and not yet near any
        chosen.append(int(np.argmax(weights**0.5 * apart)))
        apart = np.minimum(apart, np.square(wide - wide[chosen[-1]]).sum(axis=1))
    nearest = np.square(wide[:, None] - wide[chosen][None]).sum(axis=2).argmin(axis=1)
    return colours[chosen], nearest.astype(np.uint8)[place.reshape(-1)]


def written(width: int, height: int, palette: NDArray[np.uint8], index: NDArray[np.uint8]) -> bytes:
    """A PNG with a palette (ISO/IEC 15948)."""
    rows = np.insert(index.reshape(height, width), 0, 0, axis=1)
    parts = [
        chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
        chunk(b"PLTE", palette.tobytes()),
        chunk(b"IDAT", zlib.compress(rows.tobytes(), 9)),
        chunk(b"IEND", b""),
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def chunk(name: bytes, content: bytes) -> bytes:
    """A part of a PNG with its length and checksum."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


@contextmanager
def scene() -> Iterator[Scene]:
    """The running application on a logbook in memory, and a phone that looks at it."""
    from tubwater.services.keeping import Keeping
    from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
    from tubwater.web import create_app
    from tubwater.web.serving import listen

    clock = Clock(BEGIN)
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())
    listener = listen("127.0.0.1", 0)
    app = create_app(keeping, zone=ZoneInfo(ZONE), hosts=None)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    with sync_playwright() as playwright:
        program = os.environ.get("CHROMIUM") or shutil.which("chromium")
        options = ["--disable-gpu", "--font-render-hinting=none", *(["--no-sandbox"] if os.geteuid() == 0 else [])]
        browser = playwright.chromium.launch(executable_path=program, args=options)
        phone: Mapping[str, Any] = {
            "viewport": SIZE,
            "device_scale_factor": 2,
            "is_mobile": True,
            "has_touch": True,
            "locale": "en-GB",
        }
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        context = browser.new_context(**phone, base_url=address, timezone_id=ZONE, service_workers="block")
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        expect.set_options(timeout=PATIENCE)
        page.clock.set_fixed_time(BEGIN)
        yield Scene(page, keeping, clock)
        browser.close()
    server.should_exit = True
    thread.join(10)


def first_day(s: Scene) -> None:
    """A tub that is in use already: four questions, a test, the plan, the visit."""
    page = s.page
    page.goto("/first")
    page.locator("label", has_text="Bromine").first.click()
    page.fill("#litres", "1300")
    for pot in ("monopersulfate", "bcdmh", "sodium-bromide", "sodium-bisulfate", "sodium-carbonate"):
        page.check(f"input[name=pot][value={pot}]")
    page.check("input[name=pot][value=sodium-bicarbonate]")
    page.fill("#name", "Larch")
    s.picture("first", "h1")
    page.locator("button.do[type=submit]").click()
    page.wait_for_url("**/tubs/*")
    s.tub = page.url.rpartition("/")[2]
    s.open("/test")
    for name, value in (("bromine", "2"), ("pH", "7.8"), ("total_alkalinity", "80")):
        page.locator(f"input[name='{name}'][value^='{value}']").first.check(force=True)
    page.locator("input[name=clarity][value=clear]").check(force=True)
    s.picture("test", "h1")
    page.locator("button.do[type=submit]").click()
    page.wait_for_url("**/tested/*")
    s.picture("tested", "h1")
    s.open("/plan")
    s.picture("plan", "h1")


def beside_the_tub(s: Scene) -> None:
    """The visit up to its first wait, and then to its end."""
    s.open("/visit")
    s.page.locator("button.do").click()
    s.page.wait_for_url("**/visit/*")
    seen: set[str] = set()
    for _ in range(30):
        s.page.wait_for_selector("[data-screen], .verdict, #visit h1")
        screen = s.page.locator("[data-screen]")
        kind = (screen.get_attribute("data-screen") or "") if screen.count() else ""
        if kind in ("dose", "wait") and kind not in seen:
            time.sleep(0.5)  # the count is set by a script
            s.picture(f"visit-{kind}")
        seen.add(kind)
        if not kind:
            return
        onwards(s, kind)
    raise RuntimeError("the visit never ends")


def onwards(s: Scene, kind: str) -> None:
    """Does a step as planned, or waits until it is over."""
    page = s.page
    if kind == "wait":
        s.later(minutes=25)
        page.reload()  # a wait that is over has given its turn to the next step
        return
    page.evaluate("() => { document.body.dataset.old = ''; }")
    what = "retest" if kind in ("test", "stale") else "done"
    if what == "retest":
        page.locator("#visit input[name='pH'][value^='7.5']").first.check(force=True)
    page.locator(f"#visit form:has(input[name='what'][value='{what}']) button[type='submit']").last.click()
    s.later(minutes=1)
    expect(page.locator("body:not([data-old])")).to_be_attached()
    page.wait_for_load_state()


def a_month(s: Scene) -> None:
    """Three more weeks of tests, soaks and doses."""
    for week in range(3):
        s.later(days=2, hours=10)
        s.tell("soaked", people=2, lasted="30 min")
        s.later(minutes=10)
        s.tell("dosed", product=oxidizer(s), amount="10 g")
        s.later(days=3, hours=13, minutes=50)
        s.tell("test", method="strip", bromine=[3, [3, 5], 3][week], pH=7.5, total_alkalinity=80)
        s.tell("noticed", clarity="clear")
        s.later(minutes=20)
        s.tell("dosed", product=oxidizer(s), amount="15 g")
        s.later(minutes=25)
        s.tell("feeder", product=tablets(s), tablets=3, opening=0.5)
        s.later(hours=23)
    s.later(hours=9)
    s.tell("test", method="strip", bromine=[3, 5], pH=7.5, total_alkalinity=80)
    s.tell("noticed", clarity="clear", soak_not_noted="no")
    s.later(minutes=5)


def oxidizer(s: Scene) -> str:
    """The name of the oxidizer on the shelf."""
    return named(s, "monopersulfate")


def tablets(s: Scene) -> str:
    """The name of the tablets on the shelf."""
    return named(s, "bcdmh")


def named(s: Scene, substance: str) -> str:
    """The name of the product of a substance."""
    products = s.keeping.file(s.tub).shelf.products
    return str(next(product.name for product in products if product.substance == substance))


def later_days(s: Scene) -> None:
    """The tub after a month, what goes in after a soak, the logbook."""
    s.open("")
    s.picture("month", "h1")
    s.picture("water", "#water, .ranges, h2:has-text('The water')")
    s.open("/out")
    s.page.locator("label", has_text="2").first.click()
    s.page.locator("label", has_text="30").first.click()
    s.page.locator("button.do[type=submit]").click()
    s.page.wait_for_url("**/out/*")
    s.picture("after-soak", "h1")
    s.open("/logbook")
    s.picture("logbook", "h1")


def further_pages(s: Scene) -> None:
    """The pages of the how-to pages, and the record of a tub that is let."""
    for name, path in OF_PAGES:
        s.open(path)
        s.picture(name, "h1")
    s.tub = kept(s, ROOT / "examples" / "shelf.toml")
    for name, path, top in OF_A_SHELF:
        s.open(path)
        s.picture(name, top)
    s.tub = s.keeping.add_tub({"tub": LET})
    s.tell("test", method="photometer", scale="as Br2", bromine=3.2, pH=7.4, jets="no", bathers=0)
    s.later(hours=2)
    s.tell("test", method="photometer", scale="as Br2", bromine=4.8, pH=7.4, jets="no", bathers=0)
    s.tell("noticed", clarity="clear")
    s.open("/record")
    s.picture("record", "h1")


def kept(s: Scene, file: Path) -> str:
    """The tub of a keeper's file in the logbook, with what happened to it."""
    from tubwater.services.ports import HAPPENINGS

    # Days and times as JSON would have them.
    table = json.loads(json.dumps(tomllib.loads(file.read_text(encoding="utf-8")), default=lambda day: day.isoformat()))
    s.tub = s.keeping.add_tub({part: table[part] for part in ("tub", "product", "offer") if part in table})
    for kind in HAPPENINGS:
        for row in table.get(kind, []):
            s.tell(kind, **row)
    return s.tub


def main() -> int:
    """Takes every picture anew."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with scene() as s:
        first_day(s)
        beside_the_tub(s)
        a_month(s)
        later_days(s)
        further_pages(s)
    return 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT / "src"))
    raise SystemExit(main())
