#!/usr/bin/env bash
# Print where an interpreter is: on the PATH, or among pyenv's versions.
# Usage: bash tests/python.sh python3.13
set -euo pipefail
name=$1
# pyenv puts a python3.13 on the PATH that fails where that version is not chosen.
if "$name" -c '' >/dev/null 2>&1; then
    command -v "$name"
    exit
fi
if command -v pyenv >/dev/null; then
    newest=$(pyenv versions --bare | grep -E "^${name#python}\.[0-9]+$" | sort -V | tail -1) || true
    if [ -n "$newest" ]; then
        echo "$(pyenv prefix "$newest")/bin/python3"
        exit
    fi
fi
echo "No interpreter $name is at hand: install it, or name another with PYTHON." >&2
exit 2
