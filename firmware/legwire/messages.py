"""The wire in two tables: what the board says in frames, and what the host says in lines.

Board to host: a payload of message number, sequence number and packed little-endian fields,
then its CRC-16/CCITT-FALSE, high byte first, as only then errors side by side stay so in the
polynomial that it divides by; consistent overhead byte stuffing; one zero byte.
Host to board: a line of printable text, `word arguments*CRC`, the CRC of all before the
star in four hexadecimal digits. No byte that interrupts a MicroPython program can come of
it by accident, and a person can type it.
"""

from micropython import const

WIRE_VERSION = const(1)

HELLO = const(1)
TICK = const(2)
WORDS = const(3)
REPLY = const(4)
NOTE = const(5)

# Words of the core's memory that one WORDS message carries.
WORDS_A_FRAME = const(24)
TEXT_BYTES = const(48)
# Where fields begin in a frame: after the stuffing's first byte, the number and the sequence.
FIELDS_AT = const(3)
# Message, sequence, fields and CRC of any message stay shorter than a whole stuffing block.
PAYLOAD_MOST = const(253)

# A field is (name, struct code, unit or meaning). Codes are those of the standard module
# struct, little-endian; "48s" is text, ended by a zero byte or the end of the field.
_HELLO = (
    ("wire", "B", "version of these tables"),
    ("firmware", "12s", "version of the firmware"),
    ("board", "16s", "kind of board"),
    ("micropython", "12s", "version of MicroPython"),
    ("unique", "8s", "the chip's own number"),
    ("starts", "H", "how often the board has started"),
    ("time_ms", "I", "since this start"),
    ("period_us", "H", "us"),
    ("settings_crc", "H", "CRC of the settings in use"),
    ("settings_state", "B", "0 good; else an index into settings.STATES"),
    ("stage", "B", "index into stages.STAGES"),
    ("calibrated_day", "I", "days since 2000-01-01; 0: never"),
)

_LEG = (
    ("thigh_count", "H", "count"),
    ("shank_count", "H", "count"),
    ("contacts", "B", "bit 0 switch, bit 1 sole"),
    ("phase", "B", "index into phases.PHASES"),
    ("fault_bits", "I", "bits of faults.FAULTS"),
    ("fold_cdeg", "i", "cdeg"),
    ("setpoint_cdeg_q6", "i", "cdeg/64"),
    ("drive_permille", "h", "permille"),
    ("pulse_us", "H", "us"),
)

# Every input of the core and what it made of them: enough to step it again, to the bit.
_TICK_HEAD = (
    ("tick", "I", "since this start"),
    ("flags", "B", "bit by bit: TICK_FLAGS"),
    ("missed_ticks", "H", "tick"),
    ("battery_mV", "I", "mV"),
    ("supply_mV", "H", "mV"),
    ("stick_count", "H", "count"),
    ("fault_bits", "I", "bits of faults.FAULTS"),
    ("arm_blocks", "H", "bits of arming.ARMING"),
    ("loop_us", "H", "time that the tick took"),
)
# Tuples are added, not unpacked into each other: MicroPython knows no star inside a tuple.
_TICK = _TICK_HEAD + tuple(
    [(leg + row[0],) + row[1:] for leg in ("left_", "right_") for row in _LEG]
)
TICK_FLAGS = (
    "arm",
    "stop",
    "settings_bad",
    "was_hung",
    "host",
    "host_heard",
    "contactor",
    "fed",
)

_WORDS_HEAD = (
    ("tick", "I", "after which all of them were taken"),
    ("first", "H", "index of the first word"),
    ("total", "H", "words in all"),
)
_WORDS = _WORDS_HEAD + tuple(
    [(f"word_{i}", "i", "integer of the core's memory") for i in range(WORDS_A_FRAME)]
)

_REPLY = (
    ("line", "H", "number of the line answered, from 1 at each start"),
    ("done", "B", "1 done, 0 refused"),
    ("text", "48s", "why refused, or what was asked for"),
)

_NOTE = (("text", "48s", "for a person"),)

# (number, name, fields, meaning)
MESSAGES = (
    (HELLO, "hello", _HELLO, "who the board is; the answer to `hello`, and sent at start"),
    (TICK, "tick", _TICK, "one tick, every nth as asked, or the answer to a fed one"),
    (WORDS, "words", _WORDS, "part of a snapshot of the core's memory, settings first"),
    (REPLY, "reply", _REPLY, "answers a line that passed its check; SILENT ones only if refused"),
    (NOTE, "note", _NOTE, "a part of a text for a person; its lines end with a line feed"),
)

# The inputs of one tick as (name, least, most): each leg's, left first, then the board's.
_FED_LEG = (
    ("thigh.count", 0, 4095),
    ("shank.count", 0, 4095),
    ("switch", 0, 1),
    ("sole", 0, 1),
)
_FED_BOARD = (
    ("arm", 0, 1),
    ("stop", 0, 1),
    ("settings_bad", 0, 1),
    ("was_hung", 0, 1),
    ("missed_ticks", 0, 1000),
    ("battery_mV", 0, 100000),
    ("supply_mV", 0, 20000),
    ("stick_count", 0, 4095),
    ("host", 0, 1),
    ("host_heard", 0, 1),
)
FED = tuple([(leg + row[0],) + row[1:] for leg in ("left.", "right.") for row in _FED_LEG])
FED += _FED_BOARD

# When a command may act: always; while both legs are off, or the core is being fed; or, in any
# phase, at the stages in which the host may drive: unloaded and stand.
ALWAYS = const(0)
OFF_ONLY = const(1)
BENCH_ONLY = const(2)

# (word, arguments as (name, least, most), when, meaning)
COMMANDS = (
    ("hello", (), ALWAYS, "say who you are"),
    ("grant", (("bytes", 1, 65535),), ALWAYS, "so many more bytes may be sent"),
    ("every", (("ticks", 0, 1000),), ALWAYS, "a tick message every so many ticks; 0: none"),
    ("snapshot", (), ALWAYS, "send the core's whole memory as it is after one tick"),
    ("stop", (), ALWAYS, "cut the power, as the emergency stop does"),
    ("take", (), ALWAYS, "the host is in charge from now on, and beats"),
    ("beat", (), ALWAYS, "the host is alive"),
    ("leave", (), ALWAYS, "the host is no longer in charge"),
    (
        "press",
        (("leg", 0, 1), ("pressed", 0, 1)),
        BENCH_ONLY,
        "as if this foot's switch were pressed; only by a host in charge",
    ),
    (
        "set",
        (("word", 0, 65535), ("value", -1073741823, 1073741823)),
        OFF_ONLY,
        "change one integer of the settings; of the whole memory while the core is fed",
    ),
    ("keep", (("day", 0, 65535),), OFF_ONLY, "write the settings to the board, calibrated on day"),
    ("faults", (), OFF_ONLY, "send the list of the last faults as notes"),
    ("trace", (), OFF_ONLY, "send the trace of the latest fault as notes"),
    (
        "feed",
        (("on", 0, 1),),
        OFF_ONLY,
        "step the core on inputs that `in` gives, outputs held neutral; 0 ends it",
    ),
    ("in", FED, OFF_ONLY, "inputs of one fed tick, in the order of FED"),
    ("restart", (), OFF_ONLY, "start the board anew"),
)

# What comes many times a second is answered only when it is refused; `in` by its tick.
SILENT = ("grant", "beat", "in")

# The longest line, its star and check included.
LINE_BYTES = const(160)
