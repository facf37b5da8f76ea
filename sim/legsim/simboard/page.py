"""The page docs/board.md: how to wire a board, and what its firmware does about real boards.

Made from the firmware's own pin tables and the table of facts below; a test holds page and
tables together. To write it anew: python -m legsim.simboard.page > docs/board.md
"""

from runpy import run_path
from typing import Any, NamedTuple

from legsim.simboard.files import firmware_files


class Fact(NamedTuple):
    """Something that real boards do, where it is said, what is done about it, what tests it."""

    fact: str
    source: str
    answer: str
    tests: tuple[str, ...]


BOARDS = (
    ("RP2040 and RP2350 boards", "legboard/pins_rp2040.py"),
    ("ESP32 boards", "legboard/pins_esp32.py"),
)

# (name in the pin tables, what is at it)
OUTPUTS = (
    ("LEFT_PULSE", "left speed controller's signal; pull-down of 10 kohm"),
    ("RIGHT_PULSE", "right speed controller's signal; pull-down of 10 kohm"),
    ("CONTACTOR", "driver of the contactor's coil, high closes; pull-down of 10 kohm"),
)
CONTACTS = (
    ("LEFT_SWITCH", "left foot switch to ground, closed while the foot is raised against it"),
    ("RIGHT_SWITCH", "right foot switch, the same"),
    ("LEFT_SOLE", "left sole contact to ground, closed under weight"),
    ("RIGHT_SOLE", "right sole contact, the same"),
    ("ARM", "arm switch to ground, closed to arm: an open wire disarms"),
    ("STOP", "emergency stop's second pole to ground, closed until pressed: an open wire stops"),
)
CONVERTER = (
    ("SPI_CLOCK", "clock"),
    ("SPI_TO_CONVERTER", "data to the converter"),
    ("SPI_FROM_CONVERTER", "data from the converter"),
    ("SPI_SELECT", "select, low while it is spoken to"),
)
INPUTS = (
    ("LEFT_THIGH", "left thigh's pot"),
    ("LEFT_SHANK", "left shank's pot"),
    ("RIGHT_THIGH", "right thigh's pot"),
    ("RIGHT_SHANK", "right shank's pot"),
    ("STICK", "stick's pot"),
    ("BATTERY", "battery through a divider"),
    ("SUPPLY", "the board's 5 V through a divider"),
)

# Metered instructions of a whole tick in bytecode: the median by phase, the most, and the most
# while a host asks for all that it can; a test holds them to what it meters.
TICK_MEDIANS = {"standing": 307_000, "lifting": 345_000, "stooping": 387_000}
TICK_MOST, TICK_BUSIEST = 424_000, 624_000
_PERIOD_CYCLES = 500_000

FACTS = {
    "Time": (
        Fact(
            "Timer callbacks wait for the program and its collector, and a full queue of eight"
            " drops them without a word; hard ones lock the heap, and an exception ends them",
            "MicroPython docs isr_rules; issue #17363",
            "No timers, no interrupts: the loop looks at its clock, waits for its deadline, and"
            " counts the periods that it missed",
            (
                "test_a_period_is_a_period_whatever_the_ticks_take",
                "test_periods_that_pass_are_counted_and_enough_of_them_are_a_fault",
            ),
        ),
        Fact(
            "Ctrl-C in a soft callback is printed and lost",
            "issues #19424, #19467",
            "No callbacks; the loop itself is bytecode, where it gets in",
            ("test_later_too_as_long_as_it_was_never_armed",),
        ),
        Fact(
            "The microseconds wrap after 2^30, 18 minutes",
            "MicroPython py/smallint.h",
            "Deadlines by ticks_add and ticks_diff only",
            ("test_the_clock_of_a_board_wraps_and_nobody_notices",),
        ),
        Fact(
            "A collection stops a board for several periods: a 5 ms motor loop stretched to 15 ms,"
            " another one stood for 22 ms",
            "issues #7933, #10235",
            "Collected when the arm input is held, switched off while armed, and the heap locked in"
            " every armed tick: what takes memory fails in the tests, not on the stairs",
            (
                "test_nothing_is_collected_while_armed_and_all_is_before",
                "test_a_tick_that_takes_memory_while_armed_is_caught",
                "test_whatever_a_host_says_to_an_armed_board_takes_no_memory",
            ),
        ),
        Fact(
            "Loops of machine code serve neither Ctrl-C nor the port",
            "MicroPython docs speed_python",
            "Machine code only inside a tick; the loop around it is bytecode and sleeps",
            ("test_later_too_as_long_as_it_was_never_armed",),
        ),
        Fact(
            "The second core is experimental, with reports of crashes",
            "issues #7856, #8550, #13288, #15448",
            "Not used",
            (),
        ),
    ),
    "Memory": (
        Fact(
            "Small integers end at 2^30 - 1; a larger one takes memory, and so do a float, a slice,"
            " a closure, a formatted text",
            "MicroPython docs isr_rules, speed_python; py/smallint.h",
            "Integers only, every product with its budget, every buffer made at start; a tick that"
            " takes memory while armed fails at once",
            (
                "test_no_settings_and_no_readings_lead_out_of_range",
                "test_every_tick_on_32_bit_micropython_leaves_the_heap_alone",
                "test_a_tick_that_takes_memory_while_armed_is_caught",
            ),
        ),
        Fact(
            "In bytecode a function with more than some eleven arguments, locals and stack places"
            " takes its frame from the heap",
            "MicroPython py/objfun.c",
            "With the heap locked it takes the stack's; what is flashed is machine code, which"
            " takes none",
            ("test_every_tick_in_bytecode_on_64_bit_micropython_leaves_the_heap_alone",),
        ),
    ),
    "Pulses and contactor": (
        Fact(
            "Pulses are made in hardware: when the program stops, the last width goes on",
            "MicroPython ports/rp2/machine_pwm.c",
            "Whatever ends the program makes the outputs neutral first, contactor before pulses;"
            " a program that hangs is ended by the watchdog",
            (
                "test_an_exception_at_any_line_of_the_loop_leaves_outputs_at_rest",
                "test_a_second_ctrl_c_at_any_line_after_the_first_changes_nothing_of_it",
                "test_on_micropython_at_any_call_into_the_hardware_with_a_leg_up",
                "test_a_loop_that_hangs_is_reset_within_its_time_unarmed_and_told",
            ),
        ),
        Fact(
            "Stopping a pulse can freeze its pin high, and stops the other pin of its slice",
            "issue #9007; pico-sdk issue #488",
            "Never stopped: neutral is a pulse",
            ("test_the_firmware_never_stops_a_pulse",),
        ),
        Fact(
            "A soft reset on RP2040 stops only the lower half of the slices, and their pins freeze"
            " at either level; the others go on (MicroPython 1.26 to 1.28)",
            "inferred from the loop in machine_pwm.c; no issue found",
            "The pulses are on pins of the upper half, and neutral by then: they go on at neutral",
            ("test_pulses_are_where_a_soft_reset_leaves_them_running",),
        ),
        Fact(
            "Two pins of a slice share their frequency, and a new one counts at once",
            "MicroPython docs machine.PWM",
            "A slice for each pulse; frequency and width are given together, once",
            ("test_pulses_are_where_a_soft_reset_leaves_them_running",),
        ),
        Fact(
            "Until the program runs pins float; some pins of an ESP32 go high at boot",
            "esp32.com topics 4287, 39624",
            "Other pins, each with a pull-down of its own; the contactor needs a high level",
            ("test_no_pin_is_used_twice_and_each_can_do_what_it_must",),
        ),
        Fact(
            "On ESP32 a soft reset ends the pulses, low",
            "MicroPython ports/esp32/machine_pwm.c",
            "No pulse is no motion only after a while; power has gone by the contactor before",
            ("test_an_exception_at_any_line_of_the_loop_leaves_outputs_at_rest",),
        ),
        Fact(
            "A new width counts from the pulse's next cycle on: at 50 Hz up to 20 ms late",
            "pico-sdk hardware/pwm.h",
            "The simulated controller and `hocklift size` count that wait; a cut opens the"
            " contactor, which does not wait",
            ("test_the_stop_that_the_host_says_cuts_as_the_button_does",),
        ),
        Fact(
            "Losing its pulses is no instant stop for a speed controller: it waits up to 2 s",
            "a vendor's manual",
            "Power goes by the contactor, in the same tick",
            ("test_an_open_wire_of_the_emergency_stop_stops_as_the_button_does",),
        ),
        Fact(
            "A speed controller arms only after steady neutral, and takes extremes at power-up for"
            " the start of its calibration",
            "common practice, no source",
            "Neutral from the program's first moment, and whenever the contactor is open",
            (
                "test_from_power_on_nothing_but_neutral_is_given_until_a_person_has_armed",
                "test_pulses_reach_the_pins_only_while_the_contactor_is_closed",
            ),
        ),
    ),
    "Watchdog and resets": (
        Fact(
            "Once started, the watchdog cannot be stopped, not even by a soft reset",
            "issue #8600; MicroPython ports/rp2/main.c",
            "It starts with the first arming and not before, so that an upload to a board that was"
            " not armed has all the time it needs. Once it runs, whatever ends the program restarts"
            " the board, which then waits two seconds for whoever wants to break in",
            (
                "test_the_watchdog_starts_with_arming_and_then_only_waits_longer_while_off",
                "test_once_armed_breaking_in_leads_to_the_moment_after_a_restart",
            ),
        ),
        Fact(
            "It waits at most 8388 ms on RP2040; made again, it takes a new time",
            "MicroPython ports/rp2/machine_wdt.c; issue #11981 on ESP32",
            "100 ms while armed, fed only by a tick in time; the most while off, when flash is"
            " written",
            (
                "test_a_loop_that_is_always_late_does_not_feed_the_watchdog",
                "test_flash_is_written_only_while_both_legs_are_off",
            ),
        ),
        Fact(
            "RP2040 reports its own machine.reset() as the watchdog's; an ESP32 reports a crash of"
            " MicroPython as a hard reset",
            "MicroPython ports/rp2/modmachine.c, ports/esp32/modmachine.c",
            "A wanted reset leaves a file; without it the next start says that the program hung",
            (
                "test_a_wanted_restart_is_not_taken_for_a_hang",
                "test_a_wanted_restart_that_cannot_be_marked_is_told_as_a_hang",
            ),
        ),
        Fact(
            "Upload tools interrupt the program, then reset softly: that runs boot.py and skips"
            " main.py",
            "MicroPython docs reset_boot, mpremote",
            "No boot.py; all is in main.py, whose first two seconds do nothing but neutral",
            ("test_in_the_moment_after_power_on_a_person_can_break_in",),
        ),
        Fact(
            "Opening or closing the port can reset an ESP32 board",
            "issue #18001; esp32.com topic 6210",
            "After any reset nothing moves before a person has armed anew",
            ("test_after_a_power_cut_in_mid_air_the_board_waits_to_be_armed",),
        ),
    ),
    "Port": (
        Fact(
            "A write to a port that is open and not read stands still for half a second, twice",
            "issue #9634; MicroPython shared/tinyusb/mp_usbd_cdc.c",
            "Nothing is written that the host has not granted",
            (
                "test_a_board_that_sends_more_than_a_host_takes_has_to_wait_as_a_real_one",
                "test_the_program_outlives_a_host_that_never_comes",
            ),
        ),
        Fact(
            "Reading several bytes waits until all have come",
            "MicroPython shared/runtime/sys_stdio_mphal.c",
            "One at a time, after a look that takes no memory",
            ("test_the_program_outlives_a_host_that_never_comes",),
        ),
        Fact(
            "Standard input and output change line ends",
            "MicroPython shared/runtime/sys_stdio_mphal.c",
            "Their raw side is used",
            ("test_the_board_decides_as_the_compiled_core_does_on_the_same_inputs",),
        ),
        Fact(
            "What comes waits in a ring of 512 bytes on RP2040, 260 on ESP32; what comes beyond it"
            " is lost",
            "MicroPython ports/rp2/mphalport.c, ports/esp32/mphalport.c",
            "The host waits for answers, never more than two lines ahead of one; a line that has"
            " lost a byte fails its check and does nothing",
            (
                "test_no_single_bit_of_any_line_can_be_wrong_and_pass",
                "test_a_line_changed_anywhere_is_refused_unless_its_check_is_right_again",
            ),
        ),
        Fact(
            "While no host has the port open, what is written is overwritten; up to MicroPython"
            " 1.28 some of it can block the port of the next host",
            "MicroPython shared/tinyusb/mp_usbd_cdc.c; commit 8d3597ca50",
            "No more is ever written than was granted, so it ends by itself; each new host begins"
            " with a grant, and each frame ends with a zero at which to begin anew",
            (
                "test_never_are_more_bytes_sent_than_were_granted",
                "test_the_program_outlives_a_host_that_never_comes",
                "test_a_fresh_start_separates_the_first_frame_from_what_was_printed_before",
            ),
        ),
        Fact(
            "A classic ESP32 writes through a serial line: at 115 200 baud 11 500 bytes a second,"
            " where ticks at 4 ms make 18 000",
            "MicroPython ports/esp32; 10 bits a byte",
            "Ticks beyond the grant are dropped and counted, the loop does not wait; a recording"
            " there has gaps, tells them, and replays from the next snapshot on",
            ("test_ticks_without_a_grant_are_dropped_and_counted_and_the_rest_waits",),
        ),
        Fact(
            "Byte 3 interrupts the program and throws queued input away",
            "issue #6846",
            "Left on, so that a person can break in; no line of the host holds it by accident",
            ("test_in_the_moment_after_power_on_a_person_can_break_in",),
        ),
    ),
    "Flash": (
        Fact(
            "An erase stops the board for 45 to 300 ms, interrupts and all; on ESP32 for 80 ms",
            "RIOT pull request #20980; issue #3782",
            "Written only while both legs are off; the loop then sets its deadlines anew",
            ("test_flash_is_written_only_while_both_legs_are_off",),
        ),
        Fact(
            "A file system that does not mount is formatted at the next start",
            "MicroPython ports/rp2/modules/_boot.py",
            "Missing settings are an ordinary state: told, neutral, never armed",
            ("test_a_blank_board_says_that_its_settings_are_missing_and_gives_nothing",),
        ),
        Fact(
            "Renaming is safe against power cuts, writing is not",
            "littlefs README",
            "Every file is written beside the old one and renamed; settings have a check",
            (
                "test_a_spoilt_file_of_settings_is_told_and_never_used",
                "test_settings_survive_a_power_cut_at_every_write",
            ),
        ),
    ),
    "Upload": (
        Fact(
            "Precompiled files are for one form of bytecode and one kind of machine code; the"
            " release decides the one, the chip the other",
            "MicroPython docs mpyfiles, py/persistentcode.h",
            "Both are asked of the board before anything is compiled; one that takes others is"
            " refused",
            (
                "test_the_firmware_is_compiled_to_machine_code_for_every_kind_of_board",
                "test_a_micropython_that_is_too_old_is_refused",
                "test_a_board_that_cannot_take_the_firmware_ends_with_2",
            ),
        ),
        Fact(
            "There is no safe mode: a program that locks everybody out means erasing the flash",
            "MicroPython docs rp2/tutorial/reset",
            "Nothing but neutral in the first two seconds, no watchdog before the first arming",
            (
                "test_in_the_moment_after_power_on_a_person_can_break_in",
                "test_a_program_that_does_not_run_ends_with_1_and_the_last_one_stays",
            ),
        ),
    ),
    "Supply and inputs": (
        Fact(
            "RP2040's brown-out detector watches the core's rail at 0.86 V: a sagging 3.3 V passes",
            "pico-sdk vreg_and_chip_reset.h",
            "The board's supply is an input of the core, and its dip a fault that cuts",
            ("test_each_wiring_reads_what_is_on_its_wires",),
        ),
        Fact(
            "After a slow sag an RP2040 may wake in its bootloader",
            "adafruit/circuitpython issue #9605",
            "There every pin floats: the pull-downs keep the contactor open",
            (),
        ),
        Fact(
            "Pull-downs of early RP2350 chips latch (E9)",
            "RP2350 errata",
            "Every contact pulls to ground, against a pull-up",
            (
                "test_an_open_wire_of_the_emergency_stop_stops_as_the_button_does",
                "test_an_open_wire_of_the_arm_input_disarms",
            ),
        ),
        Fact(
            "Read by channel, an ADC pin keeps its pull-down",
            "MicroPython docs rp2/quickref",
            "Made by pin",
            ("test_each_wiring_reads_what_is_on_its_wires",),
        ),
        Fact(
            "MicroPython waits for nothing after a multiplexer has moved on",
            "MicroPython ports/rp2/machine_adc.c",
            "Each input is read twice, and the first reading thrown away",
            (
                "test_each_wiring_reads_what_is_on_its_wires",
                "test_a_multiplexer_that_is_not_given_its_time_is_caught",
            ),
        ),
    ),
}

# What a way of reading the inputs has to show.
WHY = (
    ("", "`spi`", "`multiplexer` or `direct` on RP2040"),
    (
        "effective bits",
        "11 and more of a common 12-bit part (its data sheets; from memory)",
        "7.9 to 8.9 on one bench (pico-adc.markomo.me)",
    ),
    ("of a pot's 300 degrees it tells apart", "0.15 degrees", "0.6 to 1.3 degrees"),
    (
        "wide codes",
        "within 1 count",
        "at 512, 1536, 2560 and 3584 (E11); up to 8.9 counts wide on that bench",
    ),
    (
        "inputs",
        "8",
        "3 on most boards (data sheet of the common one, 4.4): a multiplexer, or the larger chip",
    ),
    ("reference", "the pots' own", "the 3.3 V switcher through 200 ohm (the same, 4.3)"),
    (
        "time for all seven",
        "7 x 24 bits at 1 MHz: 168 us, and some 0.2 ms of calls",
        "14 x 2 us, and some 0.2 ms of calls",
    ),
)

_HEAD = """# The board

How to wire a board, and what its firmware does about the ways of real boards. Made from the
firmware's own pin tables and a table of facts: `python -m legsim.simboard.page > docs/board.md`.

**Nothing here has been run on a physical board.** The firmware runs on MicroPython for PCs
behind stand-ins for a board's pins, clock, flash and port, wired to the simulated rig. What the
stand-ins cannot show is listed at the end; go through it with the rope off and the battery out.
"""

_WIRES = """## Wiring

MicroPython 1.26 or later. Whichever board:

- The emergency stop breaks the motors' power in hardware, whatever the program thinks; the pin
  named here is on its second pole and only lets the program know.
- The contactor's coil hangs on a driver that is off while its input floats or is low, with a
  diode across the coil. It carries the power of both speed controllers.
- Each output has a pull-down of its own, since pins float until the program runs.
- The pots hang between the converter's own reference and ground, so that a reading is a share of
  that reference and does not move with any supply. At each input 100 nF to ground, and a
  pull-down of 1 Mohm, so that an open wire reads as nothing.
- The battery's divider makes {battery} V the full scale of a reading, the supply's {supply} V.
- A speed controller that feeds 5 V back over its signal lead must never share that wire with USB
  unless a diode lies between.
"""

_WHY = """## Why a converter of its own

Seven analogue inputs are needed: four joints, stick, battery, supply. Three ways to read them are
in the firmware, and one word in the pin table (`WIRING`) chooses: `spi`, a converter of its own
with 8 channels of 12 bits; `multiplexer`, an 8-way analogue multiplexer on one pin of the chip's
own converter; `direct`, a pin for each where a chip has as many. The first is the reference:

{why}
A period is 4 ms, so time does not decide; the wide codes do. They lie within the travel of
every joint, and a joint that stands on one seems not to move. An ESP32's own converter reads
nothing under 100 mV, is linear from 150 to 2450 mV only, and its reference differs by a tenth
from chip to chip (MicroPython docs esp32/quickref; ESP-IDF adc_calibration): with it, calibrate
each joint on the rig and keep the pots' ends out of use.
"""

_LIFE = """## From power to the loop, and back

1. Outputs neutral: contactor open, both pulses at rest.
2. Two seconds in which Ctrl-C or an upload gets in; nothing else has been loaded yet.
3. Settings are read. Missing, corrupt, of another version or not allowed: the board runs and talks,
   and never arms.
4. The loop ticks. The arm input, closed and held, makes the board clear up its memory; then it
   arms, and the watchdog runs: 100 ms, fed only by a tick that came in time. The time is the
   firmware's (`legboard/watchdog.py`); the rig file's `control.watchdog` is the simulator's.
5. Both legs off: faults and their trace go to flash, the host may change settings. The watchdog
   cannot be stopped and now waits as long as it can.
6. Whatever ends the program makes the outputs neutral first. If the watchdog runs, the board
   then starts anew by itself: after Ctrl-C, an exit or the host's `restart` as wanted, after a
   failure so that the next start tells (`crash.txt` keeps what it was). If it does not run, the
   prompt comes. So to break into a board that has been armed since its power-on, press Ctrl-C,
   and once more within two seconds of its restart.
"""

_UNTRIED = """## What has not been tried

- Any physical board, speed controller, contactor, converter or multiplexer.
- How long ticks take on a board. Metered on 32-bit MicroPython (`tests/board/test_tick_cost.py`), a
  whole tick in bytecode, told to the host, takes {standing} instructions at the median while both
  legs stand, {lifting} in a lift, {stooping} in a stoop, and {most} at most; an RP2040 has
  500 000 cycles in a period of 4 ms. In bytecode that would leave {left} % of a period in the worst
  tick, and reading the converter waits for another 4 % of it. Of a standing tick the control core
  takes 119 000, telling the host 54 000, noting for the fault record 21 000, hearing the host and
  its say 14 000; the rest, reading seven inputs and six contacts above all, is calls into the
  hardware, three for each reading, which no rewriting saves. A tick that hears a part of a line
  takes 60 000 more, one in which a snapshot is copied for a recording up to {busiest} in all.
  `hocklift flash` puts machine code onto the board; in two trials with parts of such a tick on an
  emulated RP2040 it took 73 and 81 % of the cycles of bytecode. By the latter the copied snapshot's
  ticks end late, by less than a quarter of a period, and the ticks after them catch up; a period is
  missed in none. `loop_us` of every tick message tells; look at it with nothing connected, and make
  `control.period` longer if it comes near.
- Whether it all fits: on 32 bits the firmware takes 107 kB of heap as bytecode and 46 kB for its
  objects; machine code takes some 40 kB more. An RP2040 has about 230 kB. An ESP32 without
  extra memory has little more than this needs, and keeps machine code in a part of its own.
- The firmware's machine code on a Cortex-M0, be it emulated: what is tried there is a leg's whole
  tick in bytecode, shortened, and in three parts, since 9.8 kB of heap do not hold all of it:
  judging faults, choosing the phase, and the rest. A wing's tick is not tried there.
- Whether the port keeps its promises on each port of MicroPython: stalls, credit, replugging.
- The upload over a real USB port; it is tried on MicroPython for PCs with a littlefs of its own,
  with a power cut in every block operation.
- The ESP32's watchdog at 100 ms. It also watches the chip's idle task.
- The soft reset's effect on pulses, which is inferred from MicroPython's source.
- Noise: motors of a kilowatt beside sensor wires.
"""


def pin_table(name: str) -> dict[str, Any]:
    """The firmware's table of pins, by the path that its file has on the board."""
    return run_path(str(firmware_files()[name]))


def _rows(pins: dict[str, Any], names: tuple[tuple[str, str], ...]) -> list[str]:
    return [f"| {pins[name]} | {text} |" for name, text in names]


def _wiring(title: str, pins: dict[str, Any]) -> str:
    """The wiring tables of one board."""
    select = ", ".join(str(pin) for pin in pins["MULTIPLEXER_SELECT"])
    lines = [
        f"### {title}",
        "",
        "| pin | at it |",
        "|---|---|",
        *_rows(pins, OUTPUTS),
        *_rows(pins, CONTACTS),
        *_rows(pins, CONVERTER),
        f"| {pins['MULTIPLEXED']} | in place of a converter: a multiplexer's output |",
        f"| {select} | and its select inputs, low bit first |",
        "",
        "| channel of converter or multiplexer | pin where `direct` | at it |",
        "|---|---|---|",
    ]
    for (name, text), direct in zip(INPUTS, pins["DIRECT"], strict=True):
        lines.append(f"| {pins[name]} | {direct} | {text} |")
    return "\n".join(lines) + "\n"


def _why() -> str:
    rows = ["| " + " | ".join(row) + " |" for row in WHY]
    return "\n".join([rows[0], "|---|---|---|", *rows[1:]]) + "\n"


def _facts() -> str:
    lines = [
        "## What real boards do, and the answer",
        "",
        "Issues without a project are MicroPython's. Sources were read by others for this project,"
        " and none of the facts was measured by it.",
        "",
    ]
    for topic, facts in FACTS.items():
        lines += [f"### {topic}", "", "| fact | source | answer | tests |", "|---|---|---|---|"]
        for fact in facts:
            tests = "<br>".join(f"`{name}`" for name in fact.tests) or "none"
            lines.append(f"| {fact.fact} | {fact.source} | {fact.answer} | {tests} |")
        lines.append("")
    return "\n".join(lines)


def _figure(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def board_page() -> str:
    """The whole page."""
    tables = [(title, pin_table(name)) for title, name in BOARDS]
    pins = tables[0][1]
    wires = _WIRES.format(
        battery=f"{pins['BATTERY_FULL_MV'] / 1000:g}", supply=f"{pins['SUPPLY_FULL_MV'] / 1000:g}"
    )
    parts = [_HEAD, wires, *(_wiring(*table) for table in tables)]
    untried = _UNTRIED.format(
        **{name: _figure(count) for name, count in TICK_MEDIANS.items()},
        most=_figure(TICK_MOST),
        busiest=_figure(TICK_BUSIEST),
        left=100 - 100 * TICK_MOST // _PERIOD_CYCLES,
    )
    return "\n".join([*parts, _WHY.format(why=_why()), _LIFE, _facts(), untried])


if __name__ == "__main__":
    print(board_page(), end="")
