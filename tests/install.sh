#!/usr/bin/env bash
# Put the watch in by hardware.md's own commands, in a bare Debian of another processor:
#   bash tests/install.sh SUITE ARCH [DIR]     such as: trixie armhf
# From a clone and then from the wheel; on armhf with the compiler that the page names.
# SUITE: bookworm or trixie; ARCH: arm64, armhf, or this machine's own.  Raspberry Pi OS
# is Debian's userland; its armhf is built for older processors, which wheels do not ask.
#
# Needs root, Debian's debootstrap, and for another processor qemu-user-static with
# binfmt_misc mounted.  pip runs on wheels that this machine's pip gets; apt in the root.
set -euo pipefail
here=$(cd "$(dirname "$0")/.." && pwd)
suite=$1 arch=$2
root=$(mkdir -p "${3:-$here/build/install}" && cd "${3:-$here/build/install}" && pwd)/$suite-$arch
python=${PYTHON:-python3}
mirror=${MIRROR:-$(awk '/^URIs:/{print $2; exit}' /etc/apt/sources.list.d/*.sources)}
started=$(date +%s)

case $arch in
arm64) format=aarch64 tags="manylinux2014_aarch64 manylinux_2_28_aarch64" ;;
armhf) format=arm tags="manylinux2014_armv7l linux_armv7l" ;;
*) format='' tags="manylinux2014_x86_64 manylinux_2_28_x86_64" ;;
esac
binfmt=/proc/sys/fs/binfmt_misc
if [ -n "$format" ] && ! [ -e $binfmt/qemu-$format ]; then
    tail -1 /usr/lib/binfmt.d/qemu-$format.conf > $binfmt/register
fi

if [ ! -e "$root/.done" ]; then
    rm -rf "$root"
    debootstrap --variant=minbase --arch="$arch" --include=ca-certificates,sudo \
        "$suite" "$root" "$mirror" > "$root.log" 2>&1
    touch "$root/.done"
fi
cp /etc/resolv.conf "$root/etc/"
echo "127.0.0.1 localhost $(hostname)" > "$root/etc/hosts"
said() { echo "$suite $arch: $* ($(($(date +%s) - started)) s)"; }
said "a bare root is there"

# What a person carries there, and what pip would get there.
rm -rf "$root/opt" && mkdir -p "$root/opt/wheels" "$root/opt/clone"
(cd "$here" && git archive HEAD) | tar x -C "$root/opt/clone"
cd "$root/opt"
"$python" -m pip wheel -q --no-deps --no-cache-dir -w clone ./clone 2>> "$root.log"
rm -rf clone/build clone/*.egg-info
platforms=$(printf -- '--platform=%s ' $tags)
version=$([ "$suite" = bookworm ] && echo 3.11 || echo 3.13)
get() { "$python" -m pip download -q -d wheels "$@" 2>> "$root.log"; }
# shellcheck disable=SC2086  # a list of options
for one in $(sed -n '/^dependencies = \[/,/^\]/s/^ *"\(.*\)",$/\1/p' clone/pyproject.toml); do
    get --only-binary=:all: --python-version=$version $platforms "$one"
done
# shellcheck disable=SC2086
get --only-binary=:all: --python-version=$version $platforms 'gpiod>=2.1' ||
    get --no-deps --no-binary=gpiod 'gpiod>=2.1'
get --only-binary=:all: setuptools wheel packaging # what a build asks for
printf '[global]\nno-index = true\nfind-links = /opt/wheels\n' > "$root/etc/pip.conf"

# The page's blocks under "Install": clone on 64 bit, clone on 32 bit, wheel.
block() {
    awk -v n="$1" '/^## Install/{on=1} on && /^```sh/{k++; if (k==n) {p=1; next}}
        p && /^```/{exit} p' clone/hardware.md
}
inside() { chroot "$root" env DEBIAN_FRONTEND=noninteractive bash -euo pipefail -c "cd /opt/clone; $1"; }
# The rehearsal's serial parts need ptys.
mount -t devpts -o newinstance,ptmxmode=0666 devpts "$root/dev/pts"
trap 'umount "$root/dev/pts"' EXIT
ln -sf pts/ptmx "$root/dev/ptmx"
inside "apt-get update -q" >> "$root.log" 2>&1
for way in "$([ "$arch" = armhf ] && echo 2 || echo 1)" 3; do
    rm -rf "$root/opt/cabinvigil"
    command=$(block "$way")
    if [ "$way" = 3 ] && [ "$arch" = armhf ]; then
        command=${command/python3-venv/python3-venv python3-dev gcc} # as the page says
    fi
    inside "$command" >> "$root.log" 2>&1 || { tail -20 "$root.log"; exit 1; }
    said "${command##*&& }"
    inside "/opt/cabinvigil/bin/pip list 2>/dev/null | grep -E '^gpiod|^cabinvigil'
        /opt/cabinvigil/bin/python -c 'import platform, gpiod; print(
            \"Python\", platform.python_version(), platform.machine(), gpiod.api_version)'
        /opt/cabinvigil/bin/cabinvigil config --example > /tmp/cabin.toml
        /opt/cabinvigil/bin/cabinvigil config /tmp/cabin.toml | head -1
        /opt/cabinvigil/bin/cabinvigil rehearse quiet --hours 0.1 | tail -2"
    said "it reads the example and plays a night"
done
