#!/usr/bin/env bash
# Put the watch in by hardware.md's own commands, in a bare Debian:
#   bash tests/install.sh SUITE ARCH [DIR]     such as: trixie amd64, bookworm armhf
# trixie, this machine's own processor: two machines under systemd-nspawn, a Pi and one
# elsewhere; package, night, unit, broker, bridge, alert, upgrade, removal, purge
# (tests/machines).  Else: the environment under /opt, from a clone and from the wheel,
# an upgrade and a removal; on armhf with the compiler that the page names.
# Raspberry Pi OS is Debian's userland; its armhf is built for older processors, which
# wheels do not ask.
#
# Needs root, Debian's debootstrap, systemd-container and iproute2, and for another
# processor qemu-user-static with binfmt_misc mounted.
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
    debootstrap --variant=minbase --arch="$arch" --include=ca-certificates,sudo,systemd-sysv,dbus,udev \
        "$suite" "$root" "$mirror" > "$root.log" 2>&1
    touch "$root/.done"
fi
cp /etc/resolv.conf "$root/etc/"
echo "127.0.0.1 localhost $(hostname)" > "$root/etc/hosts"
said() { echo "$suite $arch: $* ($(($(date +%s) - started)) s)"; }
said "a bare root is there"


# --- trixie: the package, on two machines
if [ "$suite" = trixie ] && [ "$arch" = "$(dpkg --print-architecture)" ]; then
    for tool in systemd-nspawn ip; do
        command -v $tool >/dev/null || { echo "$tool is missing: apt-get install systemd-container iproute2" >&2; exit 2; }
    done
    hand=$root-handover
    rm -rf "$hand" "$root-pi" "$root-shore" && mkdir -p "$hand/newer" "$hand/tree"
    (cd "$here" && git archive HEAD) | tar x -C "$hand/tree"
    cp -r "$hand/tree/systemd" "$hand/tree/hardware.md" "$hand/"
    # Today's is the newer, with another example; the one before had a file more.
    SOURCE_DATE_EPOCH=$(cd "$here" && git log -1 --format=%ct)
    export SOURCE_DATE_EPOCH
    sed -i 's/^version=\(.*\)-1$/version=\1-${REVISION:-1}/' "$hand/tree/systemd/package.sh"
    cp "$hand/tree/config/cabin.toml" "$hand/example"
    echo '# as no version had it before' >> "$hand/tree/config/cabin.toml"
    REVISION=2 bash "$hand/tree/systemd/package.sh" "$hand/newer" >> "$root.log"
    mv "$hand/example" "$hand/tree/config/cabin.toml"
    cp "$hand/tree/daemon/text/json.py" "$hand/tree/daemon/text/dropped.py"
    bash "$hand/tree/systemd/package.sh" "$hand" >> "$root.log"
    rm -rf "$hand/tree"
    echo "${NIGHT:+ $NIGHT}" > "$hand/night" # such as --hours 1, on a busy machine
    # The machines have no network but each other: apt finds all that it wants here.
    printf 'APT::Install-Recommends "false";\nAPT::Keep-Downloaded-Packages "true";\n' > "$root/etc/apt/apt.conf.d/90test"
    cp "$hand"/cabinvigil_*.deb "$root/root/"
    chroot "$root" bash -c 'export DEBIAN_FRONTEND=noninteractive; apt-get update -q
        apt-get install -q -y --download-only /root/cabinvigil_*.deb gpiod mosquitto mosquitto-clients openssl apprise python3-aiohttp python3-segno
        rm /root/cabinvigil_*.deb' >> "$root.log" 2>&1
    for name in pi shore; do
        cp -a "$root" "$root-$name"
        echo $name > "$root-$name/etc/hostname"
        printf '127.0.0.1 localhost %s\n10.77.0.2 shore.example\n' $name > "$root-$name/etc/hosts"
        cp "$here/tests/machines/steps.sh" "$root-$name/"
        cp "$here/tests/machines/$name.sh" "$root-$name/run.sh"
        printf '[Unit]\nAfter=basic.target dbus.service\n[Service]\nType=oneshot\nTimeoutStartSec=infinity\nExecStart=/bin/bash -c "bash /run.sh > /handover/%s.log 2>&1; echo rc $$? >> /handover/%s.log; touch /handover/%s.ended; systemctl poweroff"\n' $name $name $name \
            > "$root-$name/etc/systemd/system/steps.service"
        ln -sf /etc/systemd/system/steps.service "$root-$name/etc/systemd/system/multi-user.target.wants/"
        ip netns del "cv-$name" 2>/dev/null || true
        ip netns add "cv-$name"
        ip -n "cv-$name" link set lo up
    done
    trap 'ip netns del cv-pi; ip netns del cv-shore' EXIT
    ip link add cv-wire netns cv-pi type veth peer name cv-wire netns cv-shore
    number=1
    for name in pi shore; do
        ip -n "cv-$name" addr add "10.77.0.$number/24" dev cv-wire
        ip -n "cv-$name" link set cv-wire up
        number=2
        timeout "${LIMIT_S:-1200}" systemd-nspawn --register=no --keep-unit -q -b -D "$root-$name" \
            --network-namespace-path="/run/netns/cv-$name" --bind="$hand:/handover" \
            > "$root-$name.boot" 2>&1 &
    done
    said "two machines boot"
    for _ in $(seq "${LIMIT_S:-1200}"); do
        [ -e "$hand/pi.ended" ] && break
        grep -q '^rc [1-9]' "$hand/shore.log" 2>/dev/null && break
        sleep 1
    done
    kill %1 %2 2>/dev/null || true
    wait || true
    cat "$hand/pi.log" "$hand/shore.log"
    said "both ended"
    [ -e "$hand/pi-done" ] && ! grep -q '^rc [1-9]' "$hand/shore.log"
    exit
fi

# --- else: the environment
# What a person carries there, and what pip would get there.
rm -rf "$root/opt" && mkdir -p "$root/opt/wheels" "$root/opt/clone"
(cd "$here" && git archive HEAD) | tar x -C "$root/opt/clone"
cd "$root/opt"
"$python" -m pip wheel -q --no-deps --no-cache-dir -w clone ./clone 2>> "$root.log"
rm -rf clone/build clone/*.egg-info
platforms=$(printf -- '--platform=%s ' $tags)
version=$([ "$suite" = bookworm ] && echo 3.11 || echo 3.13)
get() { "$python" -m pip download -q -d wheels -c clone/systemd/constraints.txt "$@" 2>> "$root.log"; }
# shellcheck disable=SC2086  # a list of options
for one in $(sed -n '/^dependencies = \[/,/^\]/s/^ *"\(.*\)",$/\1/p' clone/pyproject.toml); do
    get --only-binary=:all: --python-version=$version $platforms "$one"
done
# shellcheck disable=SC2086
get --only-binary=:all: --python-version=$version $platforms 'gpiod>=2.1' ||
    get --no-deps --no-binary=gpiod 'gpiod>=2.1'
get --only-binary=:all: setuptools wheel packaging # what a build asks for
printf '[global]\nno-index = true\nfind-links = /opt/wheels\n' > "$root/etc/pip.conf"

# The page's blocks under "Install": package, clone on 64 bit, clone on 32 bit, wheel.
block() {
    awk -v n="$1" '/^## Install/{on=1} on && /^```sh/{k++; if (k==n) {p=1; next}}
        p && /^```/{exit} p' clone/hardware.md
}
inside() { chroot "$root" env DEBIAN_FRONTEND=noninteractive bash -euo pipefail -c "cd /opt/clone; $1"; }
# The rehearsal's serial parts need ptys.
mount -t devpts -o newinstance,ptmxmode=0666 devpts "$root/dev/pts"
mount -t proc proc "$root/proc"
trap 'umount "$root/dev/pts" "$root/proc"' EXIT
ln -sf pts/ptmx "$root/dev/ptmx"
inside "apt-get update -q" >> "$root.log" 2>&1
# The user and its folders, by the page's own lines.
inside "$(grep -E '^sudo (install -D -m 644 systemd/cabinvigil.(sysusers|tmpfiles)|systemd-(sysusers|tmpfiles))' clone/hardware.md)
    install -D -m 644 config/cabin.toml /etc/cabinvigil/cabin.toml" >> "$root.log" 2>&1
dropped=daemon/text/dropped.py
for way in "$([ "$arch" = armhf ] && echo 3 || echo 2)" again 4; do
    command=$(block "${way/again/2}")
    if [ "$way" = 4 ] && [ "$arch" = armhf ]; then
        command=${command/python3-venv/python3-venv python3-dev gcc} # as the page says
    fi
    # The first has a file more, which stands in the clone's build folder ever after.
    case $way in
    2 | 3) inside "cp daemon/text/json.py $dropped; mkdir -p build/lib/cabinvigil/daemon/text; cp $dropped build/lib/cabinvigil/daemon/text/" ;;
    *) rm -f "clone/$dropped" ;;
    esac
    inside "$command" >> "$root.log" 2>&1 || { tail -20 "$root.log"; exit 1; }
    said "${command##*&& }"
    inside "/opt/cabinvigil/bin/pip list 2>/dev/null | grep -E '^gpiod|^cabinvigil'
        /opt/cabinvigil/bin/python -c 'import platform, gpiod; print(
            \"Python\", platform.python_version(), platform.machine(), gpiod.api_version)'
        ls -d /opt/cabinvigil-* | wc -l
        find /opt/cabinvigil/lib -name dropped.py | wc -l
        sudo -u cabinvigil /opt/cabinvigil/bin/cabinvigil config | head -1
        cd /tmp; sudo -u cabinvigil /opt/cabinvigil/bin/cabinvigil rehearse quiet --hours 0.1 | tail -n 2"
    said "one environment, with or without the dropped file; the user's night is played"
done
inside "sudo bash systemd/opt-install --remove"
inside "! ls -d /opt/cabinvigil* 2>/dev/null; ls -d /etc/cabinvigil /var/lib/cabinvigil"
said "it is gone, and config and spans are there"
