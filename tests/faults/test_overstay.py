"""No source's fault outlives its cause by more than a minute: what waits, and for whom.

`tests/soak/chaos` plays it; here are the waits of our own that add up to it.
"""

import pytest

from cabinvigil.daemon.log import writer
from cabinvigil.daemon.outputs import state_file, thread
from cabinvigil.daemon.outputs.mqtt.broker import LONGEST_WAIT_S, Broker
from cabinvigil.daemon.outputs.signal import button, retrying_line
from cabinvigil.daemon.sampling import sampler, serial_port
from cabinvigil.daemon.service import asks, host

MINUTE_S = 60.0
BROKER = Broker("localhost", 1883, "lapwing")
SUMS = {
    "an entry that cannot be written": (writer.STEADY_S, writer.BATCH_S),
    "a disk": (writer.BATCH_S,),
    "the state's disk": (state_file.AGAIN_S,),
    "a line": (retrying_line.RETRY_S, retrying_line.LOOK_S),
    "a line that somebody altered": (retrying_line.STEADY_S, retrying_line.LOOK_S),
    "the button": (button.RETRY_S, button.LOOK_S),
    "a broker": (LONGEST_WAIT_S, BROKER.connect_s, BROKER.answer_s),
    "the ask socket": (asks.SOCKET_RETRY_S, asks.SOCKET_S),
    "a step of the clock": (host.TOLD_FOR_S, host.EVERY_S),
    "a part": (sampler.BACK_OFF_CAP_S, sampler.SET_UP_DEADLINE_S),
    "a port": (sampler.BACK_OFF_CAP_S, serial_port.OPEN_DEADLINE_S),
    "a bug in an output's thread": (thread.LONGEST_AGAIN_S,),
}
"""What is waited for, one after the other, before the end of a fault can be told."""


@pytest.mark.parametrize("source", SUMS)
def test_its_end_is_looked_for_within_a_minute(source: str) -> None:
    assert sum(SUMS[source]) <= MINUTE_S
