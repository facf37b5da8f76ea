"""Saves faults on a true littlefs in memory, whose power goes, or which is full, or read-only.

Runs on MicroPython in a folder that holds legcore and legboard. Prints what is wrong, or "well".
"""

import os

import vfs
from legboard.faultlog import FAILED, IDLE, LIST, SAVED, TRACE, FaultLog
from legcore.model import make
from legcore.phases import HELD, OFF, STANDING

BLOCK_BYTES = 4096
BLOCKS = 32
TICK_HZ = 50
EIO = 5
ERASED = b"\xff" * BLOCK_BYTES


class Flash:
    """After `left` writes and erases its power goes: the one at work is half done, the rest not."""

    def __init__(self, data, left):
        self.data = data
        self.left = left

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK_BYTES + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        return self.change(block * BLOCK_BYTES + offset, buffer)

    def ioctl(self, request, argument):
        if request == 4:
            return BLOCKS
        if request == 5:
            return BLOCK_BYTES
        if request == 6:
            return self.change(argument * BLOCK_BYTES, ERASED)
        return 0

    def change(self, at, new):
        """Return an error as a number: an exception would jump right through littlefs."""
        self.left -= 1
        size = len(new) if self.left >= 0 else len(new) // 2 if self.left == -1 else 0
        self.data[at : at + size] = new[:size]
        return 0 if self.left >= 0 else -EIO


ENOUGH = 1000000


def read():
    """Texts of both files as they are on the flash, or nothing in place of one that is missing."""
    texts = []
    for name in (TRACE, LIST):
        try:
            with open("/flash/" + name) as file:
                texts.append(file.read())
        except OSError:
            texts.append("")
    return texts


def faulty_start(bit, log=None):
    """A start of the board: it stands, something strikes, both legs are off; nothing is saved."""
    log = log or FaultLog("/flash", TICK_HZ)
    rig = make("Rig")
    rig.left.phase = HELD
    rig.right.phase = STANDING
    rig.contactor = 1
    for tick in range(4 * TICK_HZ):
        rig.left.fold_cdeg = tick
        log.note(rig)
    rig.left.fault_bits = bit
    rig.left.phase = rig.right.phase = OFF
    rig.contactor = 0
    for _ in range(TICK_HZ):
        log.note(rig)
    return log


def mounted(data, left=ENOUGH):
    flash = Flash(bytearray(data), left)
    vfs.mount(flash, "/flash")
    return flash


def made():
    """Flash with one start's fault on it."""
    data = bytearray(ERASED * BLOCKS)
    vfs.VfsLfs2.mkfs(Flash(data, ENOUGH))
    flash = mounted(data)
    assert faulty_start(1).save() == SAVED
    vfs.umount("/flash")
    return flash.data


def power_goes_at_every_moment(data):
    mounted(data)
    old = read()
    vfs.umount("/flash")
    cuts = 0
    while True:
        flash = mounted(data)
        log = faulty_start(2)
        flash.left = cuts
        result = log.save()
        vfs.umount("/flash")
        mounted(flash.data)
        trace, faults = read()
        again = FaultLog("/flash", TICK_HZ)
        assert again.trouble == "", again.trouble
        assert again.number in (1, 2) and again.start == again.number + 1
        vfs.umount("/flash")
        if result == SAVED:
            assert [trace, faults] != old
            new = [trace, faults]
            break
        cuts += 1
        yield trace, faults
    # After so many writes nothing more happened; before, each file was the old or the new one.
    assert cuts > 20, cuts
    yield from (old, new)


def check_power_cuts(data):
    states = [tuple(state) for state in power_goes_at_every_moment(data)]
    old, new = states[-2:]
    between = (new[0], old[1])
    assert set(states) == {old, between, new}, "a file is neither old nor new"
    # In the order of the cuts: at first all is old, then the trace is new.
    order = [(old, between, new).index(state) for state in states[:-2]]
    assert order == sorted(order)


def check_full(data):
    """The short list may find room where the trace does not; with room again, both are saved."""
    flash = mounted(data)
    old_trace = read()[0]
    log = faulty_start(2)
    try:
        with open("/flash/filler", "w") as file:
            while True:
                file.write("x" * 256)
                file.flush()
    except OSError:
        pass
    assert log.save() == FAILED
    assert log.trouble.endswith("is full"), log.trouble
    assert read()[0] == old_trace
    assert log.save() == IDLE
    assert set(os.listdir("/flash")) == {TRACE, LIST, "filler"}, os.listdir("/flash")
    os.remove("/flash/filler")
    rig = make("Rig")
    for _ in range(11 * TICK_HZ):
        log.note(rig)
    assert log.save() == SAVED
    assert log.trouble == ""
    assert read()[0].startswith("# What led to fault 2,")
    vfs.umount("/flash")
    mounted(flash.data)
    assert FaultLog("/flash", TICK_HZ).number == 2
    vfs.umount("/flash")


def check_read_only(data):
    mounted(data, left=0)
    log = faulty_start(2)
    assert log.number == 1
    assert log.save() == FAILED
    assert log.trouble
    assert len(read()[1].split("\n")) == 4
    vfs.umount("/flash")


data = made()
check_power_cuts(data)
check_full(data)
check_read_only(data)
print("well")
