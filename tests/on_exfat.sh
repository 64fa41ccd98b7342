#!/usr/bin/env bash
# Tests in a folder of a real exFAT file system, as a memory card has it: no hard links, no rights, two-second times.
# Needs Linux, root, loop devices, exfatprogs and exfat-fuse; not part of .ci/run. Tests with the disk that fails
# (tests/support/faulty_disk.py) hold files open in a way that FUSE answers with hidden files: not those.
#   tests/on_exfat.sh tests/host/cli/test_new.py ...
set -euo pipefail
checkout=$(cd "$(dirname "$0")/.." && pwd)
image=$(mktemp)
place=$(mktemp -d)
loop=
clean() {
  mountpoint -q "$place" && umount "$place"
  [ -z "$loop" ] || losetup -d "$loop"
  rm -rf "$image" "$place"
}
trap clean EXIT
truncate -s 128M "$image"
mkfs.exfat "$image" >/dev/null
loop=$(losetup -f --show "$image")
mount.exfat-fuse "$loop" "$place" >/dev/null
cd "$checkout"
"${PYTHON:-.venv/bin/python}" -m pytest -p no:cacheprovider --basetemp="$place/t" "$@"
