"""The page in a real browser, where there is one: no error on its console, nothing wider than the screen."""

import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from breakyard.report.page.content import Content
from breakyard.report.page.page import make_page

PROBE = """<script>
addEventListener("load", function () {
  var wide = Array.from(document.querySelectorAll("body *")).filter(function (one) {
    return one.getBoundingClientRect().right > innerWidth + 1 && !one.closest("svg, .wide, pre, .stacked thead");
  });
  var chart = Array.from(document.querySelectorAll("svg.overlay")).find(function (one) {
    return getComputedStyle(one).display !== "none";
  });
  chart.scrollIntoView();
  var box = chart.getBoundingClientRect();
  for (var k = 1; k < 20 && !chart.querySelector(".chosen"); k++) {
    var place = {clientX: box.left + box.width * 0.5, clientY: box.top + box.height * k / 20};
    chart.dispatchEvent(new PointerEvent("pointermove", place));
  }
  parent.postMessage([innerWidth, document.documentElement.scrollWidth, wide.length,
    chart.parentNode.querySelector("output").textContent].join(";"), "*");
});
</script>"""


@pytest.fixture(scope="module")
def browser() -> str:
    """A browser that can be driven without a screen."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    pytest.skip("no chromium (Debian and its kin: the package chromium)")


@pytest.mark.parametrize("width", [360, 1000])
def test_no_error_and_no_overflow(
    browser: str, tmp_path: Path, make_content: Callable[..., Content], width: int
) -> None:
    """On a phone and on a desk; the read-out answers to a pointer."""
    name = "a-name-without-any-blank-that-is-longer-than-a-phone-is-wide-and-longer-still"
    content = make_content(("A1", "bonded", {}), ("A2", "bonded", {}), (name, name, {}), title=name)
    page = make_page(content)
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    probed = re.sub(r"<meta http-equiv[^>]*>", "", page).replace("</body>", PROBE + "</body>")
    (tmp_path / "probed.html").write_text(probed.replace("<details ", "<details open "), encoding="utf-8")
    frame = f'<!DOCTYPE html><iframe src="probed.html" width="{width}" height="800"></iframe>'
    listen = "<script>onmessage = function (e) { document.title = 'found ' + e.data; };</script>"
    (tmp_path / "frame.html").write_text(f"{frame}{listen}", encoding="utf-8")

    plain = look(browser, tmp_path, "page.html")
    found = re.search(r"found ([^<]*)<", look(browser, tmp_path, "frame.html"))

    assert "CONSOLE" not in plain
    assert found is not None
    inner, scroll, wide, said = found[1].split(";")
    assert int(scroll) <= int(inner) <= width
    assert int(wide) == 0
    assert "N at" in said


def look(browser: str, folder: Path, name: str) -> str:
    """The page as the browser has it after loading, and what was written to the console."""
    quiet = [
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
    ]
    words = [browser, "--headless", "--no-sandbox", *quiet, "--disable-sync", "--disable-quic"]
    words += [f"--user-data-dir={folder / 'profile'}", "--window-size=1200,900", "--virtual-time-budget=4000"]
    words += ["--enable-logging=stderr", "--v=0", "--dump-dom", (folder / name).as_uri()]
    done = subprocess.run(words, capture_output=True, text=True, timeout=120, check=False)
    if done.returncode:
        pytest.skip(f"the browser does not start here: {done.stderr[-200:]}")
    return done.stdout + "".join(line for line in done.stderr.splitlines() if "CONSOLE" in line)


@pytest.fixture
def on_screen(browser: str) -> Iterator[Callable[..., Any]]:
    """A page of its own for each screen, in a browser that is told what to do."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (extra: air)")
    with playwright.sync_playwright() as tools:
        opened = tools.chromium.launch(executable_path=browser, args=["--no-sandbox"])

        def show(path: Path, width: int, height: int, **more: Any) -> Any:
            page = opened.new_page(viewport={"width": width, "height": height}, **more)
            page.goto(path.as_uri())
            return page

        yield show
        opened.close()


@pytest.fixture
def a_days_page(tmp_path: Path, make_content: Callable[..., Content]) -> Path:
    """A report of twelve pulls in four groups, compared."""
    groups = ("bonded", "screwed", "riveted", "through-bolted")
    pulls = []
    for group in groups:
        for at in (1, 2, 3):
            loads = {"low_n": 3978.0 + 40.0 * at, "high_n": 4023.0 + 40.0 * at}
            changes = {"peak": {"estimate_n": 4000.0 + 40.0 * at, **loads}}
            changes["strength"] = {"value_n": 4000.0 + 40.0 * at, **loads}
            pulls.append((f"{group[0].upper()}{at}", group, changes))
    content = make_content(*pulls, title="Pulls: slipway, 2026-05-03")
    path = tmp_path / "report.html"
    path.write_text(make_page(content), encoding="utf-8")
    return path


@pytest.mark.parametrize(("width", "height"), [(360, 800), (1280, 800)], ids=["phone", "desk"])
def test_the_first_screen_holds_the_answer(
    on_screen: Callable[..., Any], a_days_page: Path, width: int, height: int
) -> None:
    """Verdict, a figure with its interval for each group, and the picture: all without scrolling."""
    page = on_screen(a_days_page, width, height)
    boxes = [one.bounding_box() for one in page.query_selector_all("#answer > *") if one.is_visible()]
    tiles = [one.inner_text() for one in page.query_selector_all("#answer .tiles li")]

    assert max(box["y"] + box["height"] for box in boxes) <= height
    assert len(tiles) == 4
    assert all(re.search(r"\d+(\.\d+)? N\n.*\d to \d", tile) for tile in tiles)
    assert sum(one.is_visible() for one in page.query_selector_all("#answer svg.bars")) == 1
    assert page.query_selector("#answer .verdict").inner_text()


def test_a_report_is_not_long(on_screen: Callable[..., Any], a_days_page: Path, tmp_path: Path) -> None:
    """Twelve pulls: 29 screens of a phone once, 19 pages of paper; now at most ten, and eight."""
    phone = on_screen(a_days_page, 360, 800)
    phone.pdf(path=tmp_path / "report.pdf", format="A4")  # and what it unfolded for paper is folded again

    assert phone.evaluate("document.documentElement.scrollHeight") <= 10 * 800
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / "report.pdf").read_bytes())) <= 8


def test_a_touched_curve_keeps_its_read_out(on_screen: Callable[..., Any], a_days_page: Path) -> None:
    """The finger leaves the glass, and the number stays; a mouse that leaves takes it along, unless it clicked."""
    page = on_screen(a_days_page, 360, 800, has_touch=True)
    chart = page.query_selector("svg.overlay.narrow")
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    read_out = page.query_selector("output")
    for share in (0.3, 0.4, 0.5, 0.6, 0.7):
        page.touchscreen.tap(box["x"] + box["width"] * share, box["y"] + box["height"] * 0.6)
        if " at " in read_out.inner_text():
            break
    touched = read_out.inner_text()
    page.touchscreen.tap(box["x"] + 5, box["y"] - 30)

    assert " N at " in touched
    assert read_out.inner_text() == touched
