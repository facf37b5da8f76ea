"""What pages are told of a board besides its ticks: its state, and its gains and limits."""

from typing import TYPE_CHECKING, Any

from legcore.phases import OFF
from legsim.tables import ARMING, STAGES
from legwire.messages import TICK_FLAGS

from hocklift.benchpage.columns import LEGS
from hocklift.benchpage.history import holding, phase_name
from hocklift.checking.settings import NAMES

if TYPE_CHECKING:
    from hocklift.benchpage.live import Live


def state(live: "Live") -> dict[str, Any]:
    """All that is no trace, as it is now."""
    last = live.last
    flags = last.get("flags", 0)
    blocks = last.get("arm_blocks", 0)
    loop_us = sorted(live.loop_us) or [0]
    recording = live.recorder.recording if live.recorder is not None else None
    bits = {leg: last.get(f"{leg}_fault_bits", 0) for leg in LEGS}
    return {
        "kind": "state",
        "time_s": live.history.time_s,
        "trouble": live.trouble,
        "silent": live.silent(),
        "stopping": live.stopping.is_set(),
        "synced": live.shadow.synced,
        "flags": {name: flags >> i & 1 for i, name in enumerate(TICK_FLAGS)},
        "legs": [
            {
                "phase": phase_name(last.get(f"{leg}_phase", OFF)),
                "off": last.get(f"{leg}_phase", OFF) == OFF,
                "switch": last.get(f"{leg}_contacts", 0) & 1,
                "sole": last.get(f"{leg}_contacts", 0) >> 1 & 1,
            }
            for leg in LEGS
        ],
        "stick": _stick(last, live.shadow.settings),
        "faults": holding({"": last.get("fault_bits", 0), **bits}),
        "arming": [
            {"said": one.said, "holds": not blocks & one.bit, "remedy": one.remedy}
            for one in ARMING
        ],
        "loop": {
            "median_ms": loop_us[len(loop_us) // 2] / 1000,
            "most_ms": loop_us[-1] / 1000,
            "missed": live.missed,
            "lost": live.lost,
            "damaged": live.damaged,
        },
        "recording": recording
        and {
            "name": recording.path.name,
            "seconds": recording.seconds,
            "marks": recording.marks,
            "missing": recording.missing,
        },
        "people": live.people and live.people.state(),
    }


def _stick(last: dict[str, int], words: list[int]) -> float | None:
    """How far the board takes the stick to be pushed, -1 (rise) to 1 (stoop); None: not known."""
    if not words or "stick_count" not in last:
        return None
    centre, zone, span = (
        words[NAMES.index(f"stick_{name}_count")] for name in ("centre", "zone", "span")
    )
    away = last["stick_count"] - centre
    share = min(max(abs(away) - zone, 0) / span, 1.0)
    return round(share if away > 0 else -share, 2)


def settings(live: "Live") -> dict[str, Any]:
    """Gains and limits as they are on the board."""
    words = live.shadow.settings
    return {
        "kind": "settings",
        "rows": live.tuning.rows(words) if words else [],
        "stage": STAGES[words[NAMES.index("stage")]]._asdict() if words else None,
        "odd": live.tuning.odd(words) if words else [],
        "lines": live.tuning.lines(),
        "undo": len(live.tuning.done),
        "kept": live.tuning.kept,
    }
