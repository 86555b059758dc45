# What both machines' steps share; read by pi.sh and shore.sh.
set -euo pipefail
export TERM=dumb DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8 COLUMNS=100
began=$(date +%s)
page=/handover/hardware.md

# step WHAT: says what comes, and when.
step() { printf '\n%4d s  %s: %s\n' "$(($(date +%s) - began))" "$(uname -n)" "$1"; }
# block LINE: the page's block of commands that holds this line.
block() {
    awk -v want="$1" '/^```sh/{on=1; text=""; next} on && /^```/{if (hit) {printf "%s", text; exit}
        on=0} on {text=text $0 "\n"; if (index($0, want)) hit=1}' $page
}
# run COMMANDS: as a person would type them, each shown before it runs.
run() {
    while IFS= read -r line; do
        case $line in '' | \#*) continue ;; esac
        echo "\$ $line"
        bash -euo pipefail -c "$line" </dev/null || { echo "FAILED: $line"; exit 1; }
    done <<<"$1"
}
# must WHAT COMMAND...: a check, tried TRIES times, else for half a minute.
must() {
    local what=$1 n
    shift
    for n in $(seq "${TRIES:-30}"); do
        if "$@" >/tmp/must 2>&1; then
            echo "ok   $what"
            return
        fi
        sleep 1
    done
    echo "NOT  $what"
    tail -5 /tmp/must
    exit 1
}
handed() { [ -e "/handover/$1" ]; }
fails() { ! "$@"; }
