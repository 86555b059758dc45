"""Writes to a cabin's `ask` a thousand times a second: `... flooder PORT`.

Every other message is a good question; the rest is junk of all sizes up to 4 kB.
"""

import os
import random
import signal
import sys
import time

import paho.mqtt.client as paho

PER_S = 1000
TOPIC = "cabinvigil/lapwing/ask"


def main() -> None:
    # A stranger: whatever weight the bench gave the watch is not for the flood.
    os.setsid()
    dice = random.Random(5)
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.username_pw_set("phone", "p-secret")
    client.connect("localhost", int(sys.argv[1]))
    client.loop_start()
    sent, began_s, ends = 0, time.perf_counter(), []
    signal.signal(signal.SIGTERM, lambda *_: ends.append(True))
    while not ends:
        due = int((time.perf_counter() - began_s) * PER_S)
        for _ in range(min(due - sent, 100)):
            junk = dice.randbytes(dice.choice((0, 10, 200, 4096)))
            good = b'{"ask": "status"}'
            client.publish(TOPIC, good if sent % 2 else junk, qos=0)
            sent += 1
        time.sleep(0.002)
    took_s = time.perf_counter() - began_s
    print(f"flood: {sent} messages in {took_s:.0f} s, {sent / took_s:.0f} a second")
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    main()
