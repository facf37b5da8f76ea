"""What a person reads before anything may move; every command that can move a motor shows it."""

BEFORE_MOTION = (
    "The springs hold energy that can break fingers: block the legs before you reach in, and"
    " keep hands, hair, laces and rope ends out of links, gears and drum.",
    "Somebody stands by with a hand on the emergency stop, and has pressed it today to see that"
    " it cuts the motors' power in hardware.",
    "Frame on its stand, or its wearer held from above, until every check has passed; nobody"
    " stands where a leg or a wing can reach.",
    "Lithium battery: fused at the pack, undamaged, never charged alone or in the rig.",
    "Local codes and licensed practitioners take precedence over anything written here.",
)


def before_motion(*more: str) -> str:
    """What every command says before it meets a real board, and what it has to add itself."""
    return "\n".join(
        ["Before anything moves:", *(f"- {words}" for words in (*BEFORE_MOTION, *more))]
    )
