"""The chest clinic of S. L. Lauritzen and D. J. Spiegelhalter, Journal of the Royal Statistical Society B 50 (1988).

Its tables are as the documentation of the R package gRain prints them. The posteriors were computed with pyAgrum 3.3.1
and by enumeration of all 256 states; here our own ranking gives them. Our model has causes and observations, no
network: the joint states of tuberculosis, lung cancer, bronchitis and smoking stand as sixteen exclusive causes, and
the visit to Asia, the X-ray and the dyspnoea are what is observed; given such a state they are independent there, too.
"""

from __future__ import annotations

from itertools import product

import pytest

from rig.diagnosis.evidence import seen
from rig.diagnosis.model import Model, build
from rig.diagnosis.rank import rank
from tests.small_tables import made

P_ASIA, P_TUB = 0.01, {True: 0.05, False: 0.01}
P_LUNG, P_BRONC = {True: 0.1, False: 0.01}, {True: 0.6, False: 0.3}
P_DYSP = {(True, True): 0.9, (True, False): 0.7, (False, True): 0.8, (False, False): 0.1}  # (either, bronchitis)
P_TUB_ALL = P_ASIA * P_TUB[True] + (1 - P_ASIA) * P_TUB[False]


def of(chance: float, true: bool) -> float:
    return chance if true else 1 - chance


STATES = {"".join("yn"[not s] for s in state): state for state in product([True, False], repeat=4)}  # T, L, B, S


@pytest.fixture(scope="module")
def clinic() -> Model:
    causes, asia, xray, dysp = {}, {}, {}, {}
    for name, (tub, lung, bronc, smoke) in STATES.items():
        causes[name] = of(P_TUB_ALL, tub) * 0.5 * of(P_LUNG[smoke], lung) * of(P_BRONC[smoke], bronc)
        asia[name] = {"high": P_ASIA * of(P_TUB[True], tub) / of(P_TUB_ALL, tub)}  # Bayes: the visit, given the state
        xray[name] = {"high": 0.98 if tub or lung else 0.05}
        dysp[name] = {"high": P_DYSP[tub or lung, bronc]}
    observations = {"asia": {"given": asia}, "xray": {"given": xray}, "dysp": {"given": dysp}}
    return build(made(causes, observations), never=0.0)


def posterior(model: Model, *found: tuple[str, bool]) -> tuple[float, ...]:
    """T, L, B, either, S."""
    shares = rank(model, [seen(n, "high" if yes else "normal") for n, yes in found]).shares()
    some = {name: shares[name] for name in STATES}
    t, lung, b, s = (sum(p for n, p in some.items() if STATES[n][k]) for k in range(4))
    either = sum(p for n, p in some.items() if STATES[n][0] or STATES[n][1])
    return t, lung, b, either, s


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        ((), (0.0104, 0.055, 0.45, 0.064828, 0.5)),
        ((("asia", True), ("dysp", True)), (0.087751, 0.099525, 0.811402, 0.182300, 0.625920)),
        ((("asia", True), ("dysp", True), ("xray", True)), (0.391712, 0.444271, 0.628822, 0.813769, None)),
        ((("asia", True), ("dysp", True), ("xray", False)), (0.002249, 0.002550, 0.862761, None, None)),
        ((("xray", True), ("dysp", True)), (0.113933, 0.621253, 0.681869, None, None)),
    ],
)
def test_the_published_network(
    clinic: Model, found: tuple[tuple[str, bool], ...], expected: tuple[float | None, ...]
) -> None:
    for ours, theirs in zip(posterior(clinic, *found), expected, strict=True):
        if theirs is not None:
            assert ours == pytest.approx(theirs, abs=1e-6)


def test_what_is_seen_has_its_published_chance(clinic: Model) -> None:
    assert clinic.prior @ clinic.table_of("xray")[:, 1] == pytest.approx(0.11029, abs=1e-6)
    assert clinic.prior @ clinic.table_of("dysp")[:, 1] == pytest.approx(0.435971, abs=1e-6)
