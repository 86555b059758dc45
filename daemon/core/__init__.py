"""Pure decisions: `step(state, event, now) -> (state, commands)`; no clock and no I/O.

The words that come in and go out are in `model`, what never changes during a run in
`setup` and `layout`, what is remembered between two steps in `state`.  One alarm's
life, and the file that holds each part of it:

- what the air did, every doubtful value kept out: `history`; carbon monoxide as a
  dose: `dose`; how far a cell may be off while its warmth runs: `warmth`
- condition: the rule's own file in `daemon/rules/`, asked by `engine` in each step
- limits of a rule's settings: `validators`
- status, with on-delay, off-delay, dead-band, latch and chatter: `alarm_status`
- transition table (ISA-18.2 / IEC 62682) and its picture: `alarm`
- acknowledge, reset, shelve, take out of service, as a person asks: `operator_actions`
- shelved, suppressed, out of service, and the way back: `shelving`
- announcement, what changed since the step before, for log and phone: `changes`
- what goes to which phone, and when: `notifier`, over what was told: `notification`
- the sentence of an announcement: `sentences`
- annunciation, the one sound, escalation and flood: `annunciation`
- all-clear, when it is safe to go back in: `all_clear`
- snapshot, what outlives a restart or a changed config: `snapshot`, `alarm_snapshot`,
  `told_snapshot`, `stillness_snapshot`
- the order of all this in one step: `engine`

It imports `daemon/air`, `drivers/kit/quantity`, and `numbers` and `durations` of
`daemon/text` alone.

May be imported by: any folder but air, trend, drivers.
"""
