"""A dbus-daemon that nobody else knows."""

import shutil
import subprocess
from pathlib import Path

_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={path}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""


def missing() -> str:
    """What this system lacks, or nothing."""
    return "" if shutil.which("dbus-daemon") else "no dbus-daemon (Debian and its kin: the package dbus)"


class PrivateBus:
    """The daemon as a context manager; `address` is where it listens."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.address = f"unix:path={folder / 'bus'}"

    def __enter__(self) -> "PrivateBus":
        config = self._folder / "bus.conf"
        config.write_text(_CONFIG.format(path=self._folder / "bus"))
        self._process = subprocess.Popen(
            ["dbus-daemon", f"--config-file={config}", "--nofork", "--print-address"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert self._process.stdout is not None
        self._process.stdout.readline()  # it listens once it has said where
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()
