"""Release: limits as data, results with their doubt, and whether a lot may go to a market."""

from wareleaf.release.assess import Assessment, Line, Status, assess
from wareleaf.release.conformity import Conformity, Decision, decide, probability_conforming
from wareleaf.release.limits import (
    Limit,
    Market,
    all_limits,
    limits_for,
    market,
    markets,
)
from wareleaf.release.lots import (
    SIGNING_ROLE,
    Confirmation,
    LotFacts,
    Result,
    lot_facts,
    may_sign,
)
from wareleaf.release.own_rows import contract_limit, nothing_listed
from wareleaf.release.quantities import Content, convert_content, moisture_content

__all__ = [
    "SIGNING_ROLE",
    "Assessment",
    "Confirmation",
    "Conformity",
    "Content",
    "Decision",
    "Limit",
    "Line",
    "LotFacts",
    "Market",
    "Result",
    "Status",
    "all_limits",
    "assess",
    "contract_limit",
    "convert_content",
    "decide",
    "limits_for",
    "lot_facts",
    "market",
    "markets",
    "may_sign",
    "moisture_content",
    "nothing_listed",
    "probability_conforming",
]
