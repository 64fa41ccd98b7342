"""The page in a real browser, where there is one: no error on its console, nothing wider than the screen."""

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

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
