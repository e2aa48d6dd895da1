"""Usual cautions by stage, where heat, moving parts or dust are about. Common practice, no source.

They remind; local codes and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Mapping

CAUTIONS: Mapping[str, tuple[str, ...]] = {
    "wash": ("Wet floor. Small shellfish and crabs in kelp are allergens: pick them out.",),
    "blanch": (
        "Hot water and steam burn: gloves, face shield, lid on when you load.",
        "Never reach into the bath or the screw while it turns.",
    ),
    "wither": ("Keep hands off the fan and its belt; switch it off to clear the net.",),
    "roll": ("Stop and lock the roller before you clear it.",),
    "oxidise": (),
    "dry": (
        "Dry leaf and its dust catch fire: look for smoulder and smell before you leave it.",
        "On a fire or a smell of burning: heat off, fans off, doors shut, call for help.",
        "Let the leaf cool before it is binned; warm leaf in a closed bin heats itself.",
        "Surfaces are hot.",
    ),
    "sift": ("Leaf dust can explode and harms lungs: extraction on, mask on, no sparks.",),
    "mill": (
        "Leaf dust can explode and harms lungs: extraction on, mask on, no sparks.",
        "Stop and lock the mill before you open it.",
    ),
    "pack": ("Check that the label names the allergens.",),
}
