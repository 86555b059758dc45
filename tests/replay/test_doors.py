"""A door's mark is told by its readings: a replay tells it once."""

from cabinvigil.daemon.core.model import Act, ActKind
from cabinvigil.daemon.log.reader import LogLine
from cabinvigil.daemon.replay.replay import event_of


def test_a_door_s_mark_is_no_act_of_a_person() -> None:
    def line(by: str) -> LogLine:
        return LogLine("mark", 1.0, None, 1, {"text": "door open", "by": by}, 1)

    assert event_of(line("door")) is None
    assert event_of(line("button")) == Act(ActKind.MARK, by="button", text="door open")
