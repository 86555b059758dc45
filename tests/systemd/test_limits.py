"""The firewall's limit for each address, in a network of its own (X8)."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

FILE = Path(__file__).parents[2] / "systemd" / "mosquitto-limits.nft"
SILENT = """
import socket, sys
held = []
for _ in range(20):
    try:
        held.append(socket.create_connection(("10.77.1.1", 8883), 2, (sys.argv[1], 0)))
    except ConnectionRefusedError:
        pass
print(len(held), flush=True)
sys.stdin.read()
"""
SERVED = """
import socket, subprocess, sys
server = socket.create_server(("", 8883), backlog=64)
far = ["nsenter", "-t", sys.argv[1], "-n", sys.executable, sys.argv[2]]
ends = dict(stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
held = [subprocess.Popen([*far, f"10.77.1.{n}"], **ends) for n in (2, 3)]
for one in held:
    print("a neighbour", one.stdout.readline().strip(), flush=True)
near = [socket.create_connection(("127.0.0.1", 8883)) for _ in range(20)]
print("loopback", len(near))
"""
TRIAL = f"""
nft -f {FILE}
nft -f {FILE}  # read anew it replaces itself
unshare -n sleep 60 &
far=$!
trap 'kill $far' EXIT
while [ "$(readlink /proc/$far/ns/net)" = "$(readlink /proc/self/ns/net)" ]; do :; done
ip link add wire type veth peer name wire netns $far
ip addr add 10.77.1.1/24 dev wire
ip link set lo up
ip link set wire up
nsenter -t $far -n ip link set wire up
for each in 2 3; do nsenter -t $far -n ip addr add 10.77.1.$each/24 dev wire; done
{sys.executable} served.py $far silent.py
"""


def test_x8_one_address_holds_four_places_and_leaves_the_others(tmp_path: Path) -> None:
    """Twenty silent connections of one neighbour: sixteen are refused at once."""
    missing = [name for name in ("nft", "ip", "nsenter") if not shutil.which(name)]
    if missing or os.geteuid():
        pytest.skip(f"needs root and {missing}: apt-get install nftables iproute2")
    trial = ["unshare", "-n", "nft", "add", "table", "inet", "trial"]
    if subprocess.run(trial, capture_output=True, timeout=60).returncode:
        pytest.skip("this kernel has no nftables")
    (tmp_path / "silent.py").write_text(SILENT)
    (tmp_path / "served.py").write_text(SERVED)
    done = subprocess.run(
        ["unshare", "-n", "bash", "-euc", TRIAL],
        cwd=tmp_path, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["a neighbour 4"] * 2 + ["loopback 20"]
