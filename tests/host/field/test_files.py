"""The page's files: all of them are served, written as a site, and named by the service worker."""

import gzip
import posixpath
import re
import shutil
from pathlib import Path

import pytest

from breakyard.errors import UsageError
from breakyard.field.files import page_files, page_folder, write_site


def test_the_site_is_the_page_with_words_on_hosting(tmp_path: Path) -> None:
    """What is written is what is in the repository, and the way home says how."""
    written = write_site(tmp_path / "site")

    names = {path.relative_to(tmp_path / "site").as_posix() for path in written}
    assert {"index.html", "app.mjs", "sw.mjs", "wire/client.mjs", "HOSTING.txt"} <= names
    assert "https" in (tmp_path / "site" / "HOSTING.txt").read_text("utf-8")
    assert (tmp_path / "site" / "index.html").read_bytes() == (page_folder() / "index.html").read_bytes()


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    """Nothing of a person's is written over; a page that was written before is."""
    site = tmp_path / "site"
    write_site(site)
    (site / "index.html").write_text("old")
    write_site(site)
    assert (site / "index.html").read_bytes() == (page_folder() / "index.html").read_bytes()
    (site / "mine.txt").write_text("mine")

    with pytest.raises(UsageError, match=r"mine\.txt is there"):
        write_site(site)

    assert (site / "mine.txt").read_text() == "mine"


def test_the_service_worker_keeps_every_file_of_the_page() -> None:
    """A file that it does not name would be missing without a network."""
    worker = (page_folder() / "sw.mjs").read_text("utf-8")
    (block,) = re.findall(r"FILES = \[(.*?)\]", worker, re.S)
    kept = set(re.findall(r'"([^"]+)"', block))
    there = {path.removeprefix("/") or "./" for path in page_files()}

    assert kept == there


def test_the_page_asks_for_the_modules_of_a_start_at_once() -> None:
    """One after another they would be waited for: each names the next. What no start needs is not waited for at all."""
    files = page_files()
    asked = set(re.findall(r'rel="modulepreload" href="([^"]+)"', files["/"][1].decode()))
    needed = {"app.mjs"}
    while True:
        named = {
            posixpath.normpath(posixpath.join(posixpath.dirname(module), other))
            for module in needed
            for other in re.findall(
                r'^import .*? from "([^"]+)";', files[f"/{module}"][1].decode(), re.M | re.S
            )
        }
        if named <= needed:
            break
        needed |= named

    assert asked == needed
    assert not {"afterwards.mjs", "station/computer.mjs", "weighing.mjs", "wire/run.mjs"} & needed


def test_a_changed_page_has_another_service_worker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A phone that keeps the page would keep the old one for ever, were the worker's bytes the same."""
    write_site(tmp_path / "now")
    write_site(tmp_path / "same")
    shutil.copytree(page_folder(), tmp_path / "changed")
    (tmp_path / "changed" / "live.mjs").write_bytes(b"// another\n")
    monkeypatch.setattr("breakyard.field.files.page_folder", lambda: tmp_path / "changed")
    write_site(tmp_path / "next")
    now, same, later = ((tmp_path / name / "sw.mjs").read_bytes() for name in ("now", "same", "next"))

    assert now == same
    assert now != later
    assert b'VERSION = "1"' not in now


def test_every_module_that_is_imported_is_there() -> None:
    """A page without a build finds its modules by their names."""
    files = page_files()
    for path, (_, content) in files.items():
        if path.endswith(".mjs"):
            for name in re.findall(rb'from "(\.[^"]+)"', content):
                target = (Path(path).parent / name.decode()).as_posix()
                resolved = str(Path("/x" + target).resolve()).removeprefix("/x")
                assert resolved in files, (path, name)


def test_the_page_is_small() -> None:
    """Under 100 kB in all as a server sends it, since a phone at the edge of a network loads it once."""
    size = sum(len(gzip.compress(content)) for _, content in page_files().values())

    assert size < 100_000
