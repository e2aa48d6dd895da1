"""What all tests share: random examples are the same on every run unless one goes exploring."""

import os

from hypothesis import settings

# A check that fails on one machine and passes on the next tells nobody anything. Set
# WARELEAF_EXPLORE=1 to try new examples; what it finds becomes an @example.
settings.register_profile("same", derandomize=True)
settings.register_profile("explore", derandomize=False)
settings.load_profile("explore" if os.environ.get("WARELEAF_EXPLORE") else "same")
