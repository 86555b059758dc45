#!/usr/bin/env bash
# Build the wheel twice, from two copies with other paths and times, and hold them byte
# for byte against each other.  The time inside is that of the last commit; the modes
# are those of umask 022, since a wheel carries them.
# Usage: bash tests/tools/reproducible.sh
set -euo pipefail
umask 022
cd "$(dirname "$0")/../.."
python=${PYTHON:-python3}
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

for one in first/a second/with/a/longer/path; do
    mkdir -p "$work/$one" "$work/out/${one%%/*}"
    git archive HEAD | tar x --no-same-permissions -C "$work/$one"
done
# The second copy is older; hash seeds and the zone differ too.
find "$work/second" -exec touch -d 2020-02-29T12:00Z {} +

build() {
    "$python" -m pip wheel -q --no-deps --no-cache-dir -w "$work/out/$1" "$2"
}
TZ=UTC PYTHONHASHSEED=1 build first "$work/first/a"
TZ=Asia/Kathmandu PYTHONHASHSEED=2 build second "$work/second/with/a/longer/path"

if cmp "$work"/out/first/*.whl "$work"/out/second/*.whl; then
    sha256sum "$work"/out/first/*.whl | sed "s|$work/out/first/||"
else
    diff <(unzip -Z "$work"/out/first/*.whl) <(unzip -Z "$work"/out/second/*.whl) | head -20
    exit 1
fi
