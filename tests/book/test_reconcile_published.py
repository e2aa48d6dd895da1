"""Reconciliation against published cases, each with its source.

Sources as read in a public collection of benchmark problems with references to the papers (evidence
secondary); the wiring follows from the printed reconciled values, which balance at these nodes.
"""

import pytest

from wareleaf.book.reconcile import Flow, reconcile


def network(measured, wires, sd=1.0):
    return [
        Flow(f"s{k}", start, end, m, sd)
        for k, (m, (start, end)) in enumerate(zip(measured, wires, strict=True), 1)
    ]


# Narasimhan and Jordache (2000): heat exchanger with a bypass, 6 streams, 4 nodes, variances 1.
BYPASS = network(
    [101.91, 64.45, 34.65, 64.20, 36.44, 98.88],
    [
        (None, "splitter"),
        ("splitter", "exchanger"),
        ("splitter", "valve"),
        ("exchanger", "mixer"),
        ("valve", "mixer"),
        ("mixer", None),
    ],
)
BYPASS_PRINTED = [100.22, 64.50, 35.72, 64.50, 35.72, 100.22]
BYPASS_Z = [2.070, 0.061, 1.310, 0.367, 0.882, 1.641]

# Rosenberg, Mah and Iordache (1987): a recycle network, 7 streams, 4 nodes, variances 1.
RECYCLE = network(
    [5.026, 14.722, 14.721, 4.968, 10.088, 5.131, 4.835],
    [
        (None, "A"),
        ("A", "B"),
        ("B", "C"),
        ("C", "A"),
        ("C", "D"),
        ("D", "A"),
        ("D", None),
    ],
)
RECYCLE_PRINTED = [4.9050, 14.7986, 14.7986, 4.8138, 9.9849, 5.0799, 4.9050]


def test_exchanger_with_bypass_against_the_printed_amounts_and_tests():
    out = reconcile(BYPASS)
    assert [f.reconciled for f in out.flows] == pytest.approx(BYPASS_PRINTED, abs=0.006)  # printed
    assert [abs(f.z) for f in out.flows] == pytest.approx(BYPASS_Z, abs=6e-4)  # to the digit
    assert out.global_test.statistic == pytest.approx(6.4075, abs=6e-5)
    assert out.global_test.dof == 4
    # printed: below the limit 9.488 of chi-square at 5 % with 4 degrees of freedom: passes
    assert out.global_test.p_value > 0.05
    assert out.suspects == ()
    assert {f.kind for f in out.flows} == {"redundant"}


def test_recycle_network_against_the_printed_amounts():
    out = reconcile(RECYCLE)
    assert [f.reconciled for f in out.flows] == pytest.approx(RECYCLE_PRINTED, abs=6e-5)


def test_a_limit_of_chi_square_as_printed():
    """9.488 for 4 degrees of freedom at 5 %: the statistic at that limit has p = 0.05."""
    scale = (9.488 / 6.4075) ** 0.5
    # all imbalances scaled up: measured = printed amounts + scaled differences from them
    fit = [f.reconciled for f in reconcile(BYPASS).flows]
    louder = [
        Flow(f.name, f.start, f.end, r + scale * (f.measured - r), 1.0)
        for f, r in zip(BYPASS, fit, strict=True)
    ]
    out = reconcile(louder)
    assert out.global_test.statistic == pytest.approx(9.488, rel=1e-4)
    assert out.global_test.p_value == pytest.approx(0.05, abs=1e-5)


def test_a_gross_error_in_a_published_network_is_found():
    """The recycle network with one meter off by 3: found first, estimated, and gone after."""
    off = [
        Flow(f.name, f.start, f.end, r + (3.0 if f.name == "s6" else 0.0), 0.1)
        for f, r in zip(RECYCLE, RECYCLE_PRINTED, strict=True)
    ]
    out = reconcile(off)
    assert out.global_test.p_value < 1e-9
    first = out.suspects[0]
    assert first.name == "s6"
    assert first.left_out
    assert first.error == pytest.approx(3.0, abs=1e-3)  # the printed amounts balance to 1e-4
    assert first.test_after.p_value > 0.9
    assert out.without_suspects["s6"] == pytest.approx(5.0799, abs=2e-4)
