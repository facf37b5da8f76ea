"""Block and tackle: what the lead line must pull, and what it gets back."""

from legsim.linkage import tackle_advantage


def hauling_advantage(parts: int, sheave_efficiency: float) -> float:
    """Pull of a tackle over tension in its lead line while hauling, E + E^2 + ... + E^n [pipeline].

    n parts of line that pull, E efficiency of each sheave, above 0 to 1; the lead line leaves
    over a sheave of the fixed block, so that it passes n sheaves. With plain sheaves E is about
    0.92, with ball bearings 0.96 [pipeline]; small rope tackles measured as low as 0.87.
    """
    return tackle_advantage(parts, sheave_efficiency)


def letting_out_advantage(parts: int, sheave_efficiency: float) -> float:
    """Pull of a tackle over tension in its lead line while letting out [pipeline].

    As hauling, with 1/E for E: friction now helps to hold.
    """
    return hauling_advantage(parts, 1 / sheave_efficiency)


def hauling_efficiency(parts: int, sheave_efficiency: float) -> float:
    """Work at the load over work at the lead line while hauling: advantage over parts.

    Definition: the line runs n times as far as the blocks draw together.
    """
    return hauling_advantage(parts, sheave_efficiency) / parts


def letting_out_efficiency(parts: int, sheave_efficiency: float) -> float:
    """Work at the lead line over work of the load while letting out: parts over advantage.

    Definition: the line runs n times as far as the blocks draw apart.
    """
    return parts / letting_out_advantage(parts, sheave_efficiency)


def line_travel_m(parts: int, span_change_m: float) -> float:
    """Line that runs through the lead when the blocks' distance changes, n x: definition.

    n parts, which is the tackle's velocity ratio; stretch of the rope comes on top.
    """
    return parts * span_change_m
