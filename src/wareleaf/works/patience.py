"""How warm leaf is while it waits, when nobody measures it where it lies.

A heap or a bin takes on the air's temperature slowly and warms itself, so cold air alone does not
make cold leaf: without a reading in the leaf it is taken as no colder than `LEAF_SELDOM_BELOW_C`.
A works that chills its leaf writes so in its own leaf profile.
"""

from __future__ import annotations

# Leaf off the line or the field on a cold day. Common practice, no source.
LEAF_SELDOM_BELOW_C = 8.0
# Above this the profiles' waiting times say nothing.
HOTTEST_C = 40.0


def waiting_temperature_c(air_c: float) -> float:
    """Temperature at which a profile is asked how long leaf may wait, degC."""
    return min(max(air_c, LEAF_SELDOM_BELOW_C), HOTTEST_C)
