"""What a page in charge may have done with the board; each act returns words for a person."""

from datetime import datetime

from hocklift.benchpage.columns import LEGS
from hocklift.benchpage.live import Act, Live
from hocklift.benchpage.livedevice import LiveDevice
from hocklift.errors import BoardError, HockliftError
from hocklift.recording import Recorder


def press(live: Live, leg: int, on: bool) -> Act:
    """Raise a foot in the host's name, or put it down."""

    def act(device: LiveDevice) -> str:
        device.send("press", leg, int(on))
        return f"{LEGS[leg]} foot {'raised' if on else 'put down'} in the page's name"

    return act


def change(live: Live, path: str, text: str) -> Act:
    """Change a gain or a limit."""

    def act(device: LiveDevice) -> str:
        change = live.tuning.change(path, text, live.board_settings())
        try:
            live.put(device, change.words)
        except HockliftError:
            live.tuning.take_back()
            raise
        live.tell_settings()
        live.history.add("host", f"{path} is {text.strip()} now; it was changed from a page.")
        return "changed; it is not kept yet"

    return act


def undo(live: Live) -> Act:
    """Take the last change back."""

    def act(device: LiveDevice) -> str:
        change = live.tuning.last()
        live.put(device, change.before)
        live.tuning.take_back()
        live.tell_settings()
        live.history.add("host", f"{change.path} is as before.")
        return f"{change.path} is as before"

    return act


def keep(live: Live) -> Act:
    """Keep the settings on the board as they are now."""

    def act(device: LiveDevice) -> str:
        device.send("keep", live.day)
        live.tuning.kept = True
        live.tell_settings()
        live.history.add("host", "The settings are kept on the board.")
        return "kept on the board"

    return act


def record(live: Live, on: bool) -> Act:
    """Begin a recording, or end it."""

    def act(device: LiveDevice) -> str:
        if not on:
            return live.end_recording("stopped from the page")
        if live.recorder is not None:
            raise BoardError("a recording is under way already")
        path = live.folder / datetime.now().strftime("hocklift-%Y%m%d-%H%M%S.log")
        live.recorder = Recorder(device, path, live.rig_given)
        live.history.add("host", f"Recording to {path.name}.")
        return f"recording to {path}"

    return act


def mark(live: Live, text: str) -> Act:
    """Mark this moment, in the recording where there is one."""

    def act(_: LiveDevice) -> str:
        word = text.strip() or "mark"
        live.history.add("mark", word)
        if live.recorder is None:
            return "marked here only: nothing is being recorded"
        live.recorder.mark(word)
        return "marked"

    return act
