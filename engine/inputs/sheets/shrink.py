"""Small samples pulled toward an average: beta-binomial empirical Bayes.

A player's chance is drawn from a beta distribution with the average as its mean and ``strength`` as the sum
of its two parameters; his makes are binomial. His estimate is the posterior mean
``(made + strength * average) / (attempted + strength)``, so ``attempted / (attempted + strength)`` of it is
his own. The strength is found by maximum likelihood over the players when there are enough of them.

Sources: Gelman et al., Bayesian Data Analysis (3rd ed.), section 5.1 (posterior); Griffiths 1973,
Biometrics 29:637 (maximum likelihood, from memory). Checked in tests/test_sheets_shrink.py against published
worked examples.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: Range in which a prior strength or the sum of two beta parameters is searched (attempts).
SEARCH = (0.05, 1e6)


def pulled(made: float, attempted: float, average: float, strength: float) -> tuple[float, float]:
    """(estimate, share of it that is the player's own), both 0 to 1; ``strength`` in attempts, above 0."""
    own = attempted / (attempted + strength)
    return (made + strength * average) / (attempted + strength), own


def log_likelihood(
    made: Sequence[float], attempted: Sequence[float], average: Sequence[float], strength: float
) -> float:
    """Beta-binomial log likelihood less the binomial coefficients, one mean per player."""
    from scipy.special import betaln

    k, n, m = (np.asarray(x, dtype=np.float64) for x in (made, attempted, average))
    a, b = strength * m, strength * (1.0 - m)
    return float(np.sum(betaln(k + a, n - k + b) - betaln(a, b)))


def fit_strength(made: Sequence[float], attempted: Sequence[float], average: Sequence[float]) -> float:
    """The strength (attempts) that makes the makes most likely, given each player's mean.

    At the upper end of the search the players do not differ beyond chance.
    """
    from scipy.optimize import minimize_scalar

    low, high = np.log(SEARCH[0]), np.log(SEARCH[1])
    found = minimize_scalar(
        lambda z: -log_likelihood(made, attempted, average, float(np.exp(z))),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return float(np.exp(found.x))


def fit_beta(made: Sequence[float], attempted: Sequence[float]) -> tuple[float, float]:
    """Both parameters of the beta distribution by maximum likelihood, one common mean."""
    from scipy.optimize import minimize_scalar

    n_made, n_attempted = float(sum(made)), float(sum(attempted))
    centre = np.log((n_made + 0.5) / (n_attempted - n_made + 0.5))

    def strength_at(logit: float) -> tuple[float, float]:
        mean = float(1.0 / (1.0 + np.exp(-logit)))
        return mean, fit_strength(made, attempted, [mean] * len(made))

    def loss(logit: float) -> float:
        mean, strength = strength_at(logit)
        return -log_likelihood(made, attempted, [mean] * len(made), strength)

    found = minimize_scalar(
        loss, bounds=(centre - 2.0, centre + 2.0), method="bounded", options={"xatol": 1e-9}
    )
    mean, strength = strength_at(float(found.x))
    return strength * mean, strength * (1.0 - mean)


def prior_strength(
    made: Sequence[float],
    attempted: Sequence[float],
    average: Sequence[float],
    usual: float,
    least_players: int,
    least_attempts: float,
    bounds: tuple[float, float],
) -> tuple[float, bool]:
    """(strength in attempts, whether it was estimated): estimated from the players with enough attempts when
    there are enough of them, kept inside ``bounds``; else ``usual``."""
    enough = [i for i, n in enumerate(attempted) if n >= least_attempts]
    if len(enough) < least_players:
        return usual, False
    k, n, m = ([values[i] for i in enough] for values in (made, attempted, average))
    return float(np.clip(fit_strength(k, n, m), *bounds)), True
