#!/bin/bash
# Builds the guest's kernel, modules and root in DIR, once: image.sh DIR
# SUITE is trixie (default) or bookworm; MIRROR a Debian mirror (default: this machine's).
set -eu
dir=$1
here=$(cd "$(dirname "$0")" && pwd)
suite=${SUITE:-trixie}
mirror=${MIRROR:-$(awk '/^URIs:/{print $2; exit}' /etc/apt/sources.list.d/*.sources 2>/dev/null || true)}
mirror=${mirror:-$(awk '$1=="deb"{print $2; exit}' /etc/apt/sources.list 2>/dev/null || true)}
mkdir -p "$dir"
cd "$dir"

# What the page or the package asks apt for is in the root already: the guest has no
# network, and apt then finds nothing else to do.
packages=systemd,systemd-sysv,dbus,udev,kmod,sudo,procps,e2fsprogs,python3,gpiod
if [ "$suite" = bookworm ]; then packages+=,python3-venv; else
    packages+=,$(sed -n 's/^Depends: //p' "$here/../../systemd/debian/control" | sed 's/ ([^)]*)//g; s/, /,/g')
fi

inside() { chroot "$1" env DEBIAN_FRONTEND=noninteractive "${@:2}"; }

if [ ! -e base/.done ]; then
    rm -rf base
    debootstrap --variant=minbase --include=ca-certificates "$suite" base "$mirror"
    touch base/.done
fi
if [ ! -e kernel/kernel/version ]; then
    rm -rf kernel
    cp -a base kernel
    cp /etc/resolv.conf kernel/etc/
    mkdir -p kernel/kernel/build
    cp "$here"/kernel/* kernel/kernel/build/
    cp "$here/modules.sh" kernel/
    inside kernel bash /modules.sh
fi
if [ ! -e root/.done ]; then
    rm -rf root
    cp -a base root
    cp /etc/resolv.conf root/etc/
    inside root apt-get update -q
    # shellcheck disable=SC2086  # a list of package names
    inside root apt-get install -y -q --no-install-recommends ${packages//,/ }
    rm -rf root/var/lib/apt/lists/* root/var/cache/apt/*.bin root/usr/share/{doc,man,locale}
    inside root useradd --create-home --shell /bin/bash crew
    echo 'crew ALL=(ALL) NOPASSWD: ALL' > root/etc/sudoers.d/crew
    printf '127.0.0.1 localhost lapwing\n' > root/etc/hosts
    echo lapwing > root/etc/hostname
    # Else getty hangs up the console that the checks write to.
    ln -sf /dev/null root/etc/systemd/system/serial-getty@ttyS0.service
    ln -sf sbin/init root/init
    touch root/.done
fi

# Only the modules that are needed, each with those that it needs itself.
version=$(cat kernel/kernel/version)
from=kernel/kernel/image/lib/modules/$version
[ -d "$from" ] || from=kernel/kernel/image/usr/lib/modules/$version
to=root/usr/lib/modules/$version
rm -rf "$to"
mkdir -p "$to/extra" lib/modules
cp "$from"/modules.builtin* "$from"/modules.order "$to/"
ln -sfn "$PWD/$from" "lib/modules/$version"
depmod -b "$PWD" "$version"
for module in i2c-dev i2c-stub configfs ext4 loop virtio_pci virtio_console xhci_pci \
    usbserial ftdi_sio cdc-acm; do
    modprobe -d "$PWD" -S "$version" --show-depends "$module" |
        awk '$1=="insmod"{print $2}' |
        while read -r file; do
            target=$to/${file##*/lib/modules/"$version"/}
            mkdir -p "$(dirname "$target")"
            cp -n "$file" "$target"
        done
done
cp kernel/kernel/build/*.ko "$to/extra/"
depmod -b root "$version"
cp kernel/kernel/image/boot/vmlinuz-"$version" vmlinuz
(cd root && find . -print0 | cpio --null -o -H newc --quiet) | zstd -q -1 -T0 -f -o root.zst
