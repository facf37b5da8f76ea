"""Keeps settings on a true littlefs in memory whose power goes at each write in turn.

Runs on MicroPython in a folder that holds the firmware, `old.bin` and `words.txt`: a file of
settings, and its integers. Prints what is wrong, or "well".
"""

import sys

import vfs

sys.path.insert(0, "")

from legboard.settings import Store
from legboard.words import read
from legcore.model import make

BLOCK_BYTES = 4096
BLOCKS = 32
ENOUGH = 1000000
EIO = 5
ERASED = b"\xff" * BLOCK_BYTES
OLD_DAY = 1
NEW_DAY = 2


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


def store_at(folder):
    return Store(make("Rig").settings, folder)


def integers(store):
    return [read(place) for place in store.places]


with open("old.bin", "rb") as file:
    old = file.read()
with open("words.txt") as file:
    words = [int(word) for word in file.read().split()]
data = bytearray(ERASED * BLOCKS)
vfs.VfsLfs2.mkfs(Flash(data, ENOUGH))
vfs.mount(Flash(data, ENOUGH), "/flash")
with open("/flash/settings.bin", "wb") as file:
    file.write(old)
vfs.umount("/flash")

days = []
why = "not yet"
while why:
    flash = Flash(bytearray(data), ENOUGH)
    vfs.mount(flash, "/flash")
    store = store_at("/flash")
    assert store.state == 0 and store.day == OLD_DAY, store.trouble
    assert integers(store) == words
    flash.left = len(days)
    why = store.keep(NEW_DAY)
    vfs.umount("/flash")
    vfs.mount(Flash(flash.data, ENOUGH), "/flash")
    again = store_at("/flash")
    assert again.state == 0, (len(days), again.state, again.trouble)
    assert integers(again) == words
    days.append(again.day)
    vfs.umount("/flash")
assert len(days) > 3, days
assert days == sorted(days), days
print("well")
