#!/bin/bash
# Boots a small Debian guest under software emulation, puts the watch in as hardware.md
# tells a person to, runs the real unit, and checks it: run.sh [DIR]
# On trixie that is the package; SUITE=bookworm: the wheel, in its environment.
#
# Prints a line a check; ends with 0 if all are well, 1 if one is not, 2 if the guest
# never came to its end.  Needs root (debootstrap makes device files), and Debian's
# debootstrap, qemu-system-x86, cpio, zstd, kmod.  DIR (default: build/guest) keeps the
# image, some 2 GB, for the next run.  LIMIT_S ends a guest that hangs.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
tree=$(cd "$here/../.." && pwd)
suite=${SUITE:-trixie}
dir=$(mkdir -p "${1:-$tree/build/guest}/$suite" && cd "${1:-$tree/build/guest}/$suite" && pwd)
python=${PYTHON:-python3}
started=$(date +%s)

missing=
for program in debootstrap qemu-system-x86_64 cpio zstd depmod; do
    command -v "$program" >/dev/null || missing="$missing $program"
done
if [ -n "$missing" ]; then
    echo "missing:$missing; apt-get install debootstrap qemu-system-x86 cpio zstd kmod" >&2
    exit 2
fi
if ! [ -e "$dir/root.zst" ] || [ "$here/image.sh" -nt "$dir/root.zst" ] ||
    [ "$here/kernel/i2c_wire.c" -nt "$dir/root.zst" ]; then
    [ "$here/kernel/i2c_wire.c" -nt "$dir/root.zst" ] && rm -f "$dir/kernel/kernel/version"
    echo "building the image (its story: $dir/image.log)"
    SUITE=$suite nice bash "$here/image.sh" "$dir" > "$dir/image.log" 2>&1 || {
        tail -5 "$dir/image.log" >&2
        exit 2
    }
fi
echo "image ready after $(($(date +%s) - started)) s"

# The payload: what a person would carry to the Pi, and the checks.
home=payload/home/crew
rm -rf "$dir/payload"
mkdir -p "$dir/$home"
cd "$dir"
mkdir -p payload/opt/guest payload/etc/systemd/system/multi-user.target.wants
cp -r "$tree/hardware.md" "$home/"
cp "$here"/*.py payload/opt/guest/

as_wheel() {
    # From a copy: a build in the tree would bring along what an earlier one left there.
    rm -rf source && mkdir -p source wheels
    (cd "$tree" && tar c pyproject.toml README.md daemon drivers config systemd) | tar x -C source
    "$python" -m pip wheel -q --no-deps --no-cache-dir -w "$home" ./source 2>&1 | grep -v WARNING || true
    local version
    version=$(basename root/usr/bin/python3.*[0-9] | sed 's/python//')
    if ! [ -e "wheels/.for-$version" ] || [ "$tree/pyproject.toml" -nt "wheels/.for-$version" ]; then
        rm -rf wheels/*
        "$python" -m pip download -q -d wheels --only-binary=:all: \
            --python-version "$version" --platform manylinux2014_x86_64 \
            --platform manylinux_2_28_x86_64 --platform linux_x86_64 \
            -c "$tree/systemd/constraints.txt" \
            "$(ls "$home"/*.whl)[pi]" 2>&1 | grep -v WARNING || true
        rm -f wheels/cabinvigil-*
        touch "wheels/.for-$version"
    fi
    cp -r "$tree/systemd" "$home/"
    cp -r wheels payload/opt/guest/
    printf '[global]\nno-index = true\nfind-links = /opt/guest/wheels\n' > payload/etc/pip.conf
}

if [ "$suite" = bookworm ]; then as_wheel; else
    bash "$tree/systemd/package.sh" "$home/dist" > package.log || { cat package.log >&2; exit 2; }
fi
cp "$here/checks.service" payload/etc/systemd/system/
ln -s ../checks.service payload/etc/systemd/system/multi-user.target.wants/
(cd payload && find . -print0 | cpio --null -o -H newc -R 0:0 --quiet) |
    zstd -q -1 -f -o payload.zst
cat root.zst payload.zst > initrd

# The guest's time is counted in instructions, two nanoseconds each, so that a busy host
# makes the run longer and no check later; where the guest idles, its time leaps on.
# That is one core of 500 million a second, slower than a small Pi (from memory).
#
# Two serial parts: one on the board's own port, one on a USB adapter.  The far end of
# each is a port by which the guest plays the part.
rm -f line-*
timeout "${LIMIT_S:-2400}" nice qemu-system-x86_64 \
    -machine pc -accel tcg -cpu max -m 3072 -smp 1 \
    -icount shift=1,sleep=off -rtc base=2027-01-16T21:00:00,clock=vm \
    -display none -no-reboot -nic none -serial stdio \
    -chardev socket,id=board,path=line-board,server=on,wait=off \
    -chardev socket,id=board-far,path=line-board \
    -chardev socket,id=usb,path=line-usb,server=on,wait=off \
    -chardev socket,id=usb-far,path=line-usb \
    -serial chardev:board -device qemu-xhci -device usb-serial,chardev=usb \
    -device virtio-serial-pci \
    -device virtserialport,chardev=board-far,name=board \
    -device virtserialport,chardev=usb-far,name=usb \
    -kernel vmlinuz -initrd initrd \
    -append "console=ttyS0 quiet systemd.show_status=0 panic=-1 usbcore.authorized_default=0" \
    < /dev/null 2> qemu.log | sed -u 's|\r||g' | tee console.log |
    grep --line-buffered -E '^(ok|FAIL|guest|  ) ' || true
echo "$(($(date +%s) - started)) s in all"
grep -q '^guest end' console.log || {
    echo "the guest never came to its end; see $dir/console.log" >&2
    exit 2
}
! grep -q '^FAIL' console.log
