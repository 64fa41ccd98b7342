#!/usr/bin/env bash
# The host's tests in a real 32-bit Python with a 32-bit numpy: Debian for i386 in a folder of its own.
# Needs Debian on an x86-64 machine, root and debootstrap, and some minutes; not part of .ci/run.
#   tests/on_32_bit.sh FOLDER [tests/host/wire ...]
set -euo pipefail
folder=$1
shift
checkout=$(cd "$(dirname "$0")/.." && pwd)
mirror=$(sed -n 's/^URIs: *//p' /etc/apt/sources.list.d/debian.sources | head -1)
if [ ! -x "$folder/usr/bin/python3" ]; then
  debootstrap --arch=i386 --variant=minbase \
    --include=python3,python3-numpy,python3-scipy,python3-pandas,python3-matplotlib,python3-pytest,python3-hypothesis,python3-html5lib \
    trixie "$folder" "$mirror"
fi
rm -rf "$folder/checkout"
mkdir "$folder/checkout"
git -C "$checkout" archive HEAD | tar x -C "$folder/checkout"
chroot "$folder" env PYTHONPATH=/checkout/host PYTHONDONTWRITEBYTECODE=1 \
  python3 -m pytest --rootdir /checkout -c /checkout/pyproject.toml -p no:cacheprovider \
  -W ignore::DeprecationWarning "${@/#//checkout/}"
