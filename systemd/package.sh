#!/bin/bash
# Builds the Debian package: package.sh OUTDIR
# Plain dpkg-deb, and the same bytes from the same commit.  For trixie and later, where
# every run-time library is Debian's own; bookworm lacks three of them.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
tree=$(dirname "$here")
[ $# = 1 ] || {
    echo "usage: bash systemd/package.sh OUTDIR" >&2
    exit 2
}
command -v dpkg-deb >/dev/null || {
    echo "dpkg-deb is missing: only Debian and its kin build this" >&2
    exit 2
}
out=$(mkdir -p "$1" && cd "$1" && pwd)
cd "$tree"
umask 022
version=$(sed -n 's/^version = "\(.*\)"$/\1/p' pyproject.toml)-1
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || stat -c %Y CHANGELOG.md)}
export SOURCE_DATE_EPOCH LC_ALL=C TZ=UTC
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
chmod 755 "$root"

# put MODE PLACE: from standard input; place FILE PLACE: as it is
put() {
    install -d "$root/$(dirname "$2")"
    cat >"$root/$2"
    chmod "$1" "$root/$2"
}
place() { put "${3:-644}" "$2" <"$1"; }
# In the package the program and the last sound are Debian's, and so are the units.
moved() {
    sed -e 's#/opt/cabinvigil/bin/cabinvigil#/usr/bin/cabinvigil#' \
        -e 's#/usr/local/lib/cabinvigil#/usr/lib/cabinvigil#' \
        -e 's#^\(\# Install: \)/etc/\(systemd/system\|sysusers.d\|tmpfiles.d\|udev/rules.d\|modules-load.d\)/#\1/usr/lib/\2/#' "$1"
}

# --- the code: what pyproject.toml packs, and nothing that an earlier build left
python=usr/lib/python3/dist-packages
sed -n '/^packages = \[/,/^\]/s/^ *"cabinvigil\.\(.*\)",$/\1/p' pyproject.toml | tr . / |
    while read -r folder; do
        for file in "$folder"/*.py "$folder"/*.css "$folder"/*.html "$folder"/*.js "$folder"/py.typed; do
            [ ! -e "$file" ] || place "$file" "$python/cabinvigil/$file"
        done
    done
for file in config/*.toml config/*.yaml config/*.json; do
    place "$file" "$python/cabinvigil/$file"
done
{
    printf 'Metadata-Version: 2.1\nName: cabinvigil\nVersion: %s\n' "${version%-*}"
    sed -n 's/^description = "\(.*\)"$/Summary: \1/p' pyproject.toml
    echo 'License: MIT'
} | put 644 "$python/cabinvigil-${version%-*}.dist-info/METADATA"
put 755 usr/bin/cabinvigil <<'END'
#!/usr/bin/python3
"""The watch, as Debian's python3 runs it."""

import sys

from cabinvigil.daemon.cli import main

sys.exit(main())
END

# --- what systemd, udev and the shells want
for unit in cabinvigil cabinvigil-failed cabinvigil-bridge cabinvigil-phone; do
    moved "$here/$unit.service" | put 644 "usr/lib/systemd/system/$unit.service"
done
moved "$here/cabinvigil.sysusers" | put 644 usr/lib/sysusers.d/cabinvigil.conf
moved "$here/cabinvigil-phone.sysusers" | put 644 usr/lib/sysusers.d/cabinvigil-phone.conf
moved "$here/cabinvigil-phone.tmpfiles" | put 644 usr/lib/tmpfiles.d/cabinvigil-phone.conf
moved "$here/cabinvigil.tmpfiles" | put 644 usr/lib/tmpfiles.d/cabinvigil.conf
moved "$here/cabinvigil.rules" | put 644 usr/lib/udev/rules.d/60-cabinvigil.rules
moved "$here/cabinvigil.modules" | put 644 usr/lib/modules-load.d/cabinvigil.conf
place "$here/failed-sound" usr/lib/cabinvigil/failed-sound 755
place "$here/broker-setup" usr/sbin/cabinvigil-broker-setup 755
for file in "$here"/mosquitto-*; do
    place "$file" "usr/share/cabinvigil/broker/${file##*/}"
done
install -d "$root/etc/cabinvigil" # the config is postinst's
printf '%s\n' '# The buzzer'"'"'s line, as in cabin.toml: cabinvigil-failed.service sounds it.' \
    BUZZER_LINE=GPIO17 BUZZER_ACTIVE_LOW=0 | put 644 etc/default/cabinvigil-failed
place config/shell/cabinvigil usr/share/bash-completion/completions/cabinvigil
gzip -9n <config/shell/cabinvigil.1 | put 644 usr/share/man/man1/cabinvigil.1.gz
{
    printf '%s\n' ".TH CABINVIGIL\\-BROKER\\-SETUP 8 \"\" \"cabinvigil ${version%-*}\"" '.SH NAME' \
        "cabinvigil\\-broker\\-setup \\- set Debian's mosquitto up for the monitor" '.SH DESCRIPTION' .nf
    # What its --help prints, with hyphens that roff leaves alone.
    sed -n '4,/^set /{/^set /d;s/^# \{0,1\}//;s/-/\\-/g;p}' "$here/broker-setup"
    echo .fi
} | gzip -9n | put 644 usr/share/man/man8/cabinvigil-broker-setup.8.gz

# --- what a person reads
doc=usr/share/doc/cabinvigil
{
    cat "$here/debian/copyright"
    sed -n '5,$p' LICENSE | sed -e 's/^$/./' -e 's/^/ /'
} | put 644 $doc/copyright
for file in README.md daemon/README.md hardware.md; do gzip -9n <$file | put 644 "$doc/$file.gz"; done
gzip -9n <CHANGELOG.md | put 644 $doc/changelog.gz
printf 'cabinvigil (%s) unstable; urgency=medium\n\n  * As changelog.gz says.\n\n -- %s  %s\n' \
    "$version" "$(sed -n 's/^Maintainer: //p' "$here/debian/control")" \
    "$(date -R -d "@$SOURCE_DATE_EPOCH")" | gzip -9n | put 644 $doc/changelog.Debian.gz
place config/phone.toml "$doc/examples/phone.toml"
for file in broker.conf tone.conf watchdog.conf; do
    place "$here/$file" "$doc/examples/$file"
done

# --- what dpkg wants
install -d "$root/DEBIAN"
size=$(du -k --apparent-size -s "$root" | cut -f1)
sed -e "s/@VERSION@/$version/" -e "s/@SIZE@/$size/" "$here/debian/control" >"$root/DEBIAN/control"
install -m 644 "$here/debian/conffiles" "$root/DEBIAN/"
install -m 755 "$here"/debian/p{ostinst,rerm,ostrm} "$root/DEBIAN/"
(cd "$root" && find etc usr -type f -print0 | sort -z | xargs -0 md5sum) >"$root/DEBIAN/md5sums"
find "$root" -print0 | xargs -0 touch -h -d "@$SOURCE_DATE_EPOCH"
dpkg-deb -Zxz --root-owner-group --build "$root" "$out/cabinvigil_${version}_all.deb"
