#!/usr/bin/env bash
# Install what the tests need, then run every check and the whole suite.
# Usage: [PYTHON=python3.13] [VENV=folder] bash tests/all.sh [pytest options]
set -euo pipefail
cd "$(dirname "$0")/.."
python=$(bash tests/python.sh "${PYTHON:-python3}")
version_of() { "$1" -c 'import sys; print("%d.%d" % sys.version_info[:2])'; }
version=$(version_of "$python")
venv=${VENV:-.venv-tests/$version}
there=$(version_of "$venv/bin/python" 2>/dev/null) || there=none
if [ "$there" != none ] && [ "$there" != "$version" ]; then
    echo "The environment $venv is of Python $there, not $version: remove it, or name another with VENV." >&2
    exit 2
fi

missing=()
[ -x /usr/sbin/mosquitto ] || command -v mosquitto >/dev/null || missing+=(mosquitto)
command -v mosquitto_passwd >/dev/null || missing+=(mosquitto)
command -v chromium-headless-shell >/dev/null || missing+=(chromium-headless-shell)
command -v espeak-ng >/dev/null || missing+=(espeak-ng)
command -v systemd-analyze >/dev/null || missing+=(systemd)
if [ "$(id -u)" = 0 ]; then # nobody else can make the network that these are tried in
    [ -x /usr/sbin/nft ] || missing+=(nftables)
    command -v ip >/dev/null || missing+=(iproute2)
fi
if [ ${#missing[@]} -gt 0 ]; then
    wanted=$(printf '%s\n' "${missing[@]}" | sort -u | tr '\n' ' ')
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        echo "installing Debian's ${wanted}"
        export DEBIAN_FRONTEND=noninteractive
        apt-get update -q >/dev/null
        # shellcheck disable=SC2086  # a list of package names
        apt-get install -y -q --no-install-recommends $wanted >/dev/null
    else
        echo "The tests need these Debian packages: ${wanted}" >&2
        echo "Install them with: sudo apt-get install ${wanted}" >&2
        exit 2
    fi
fi

[ "$there" = "$version" ] || "$python" -m venv "$venv"
"$venv/bin/pip" install -q --disable-pip-version-check '.[phone,review,terminal,test]'

bin=$(cd "$venv/bin" && pwd)
"$bin/ruff" check .
"$bin/ruff" format --check .
"$bin/mypy" -p cabinvigil.daemon -p cabinvigil.drivers -p cabinvigil.config
"$bin/lint-imports" --no-cache
exec "$bin/python" -m pytest -n 2 --dist loadgroup "$@"
