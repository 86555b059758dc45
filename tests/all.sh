#!/usr/bin/env bash
# Install what the tests need, then run every check and the whole suite.
# Usage: bash tests/all.sh [pytest options]
set -euo pipefail
cd "$(dirname "$0")/.."
python=${PYTHON:-python3}
venv=${VENV:-.venv-tests}

missing=()
[ -x /usr/sbin/mosquitto ] || command -v mosquitto >/dev/null || missing+=(mosquitto)
command -v mosquitto_passwd >/dev/null || missing+=(mosquitto)
command -v chromium-headless-shell >/dev/null || missing+=(chromium-headless-shell)
command -v espeak-ng >/dev/null || missing+=(espeak-ng)
command -v systemd-analyze >/dev/null || missing+=(systemd)
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

[ -x "$venv/bin/python" ] || "$python" -m venv "$venv"
"$venv/bin/pip" install -q --disable-pip-version-check '.[review,terminal,test]'

bin=$(cd "$venv/bin" && pwd)
"$bin/ruff" check .
"$bin/ruff" format --check .
"$bin/mypy" -p cabinvigil.daemon -p cabinvigil.drivers -p cabinvigil.config
"$bin/lint-imports" --no-cache
exec "$bin/python" -m pytest -n 2 --dist loadgroup "$@"
