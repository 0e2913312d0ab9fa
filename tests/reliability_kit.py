"""Invented tables for the tests of reliability."""

import numpy as np
import pandas as pd


def table(values, metric="score", sessions=None):
    """Return values (athletes, sessions) as a long table."""
    values = np.asarray(values, float)
    n, k = values.shape
    names = sessions or [f"s{j + 1}" for j in range(k)]
    return pd.DataFrame(
        {
            "athlete": np.repeat([f"A{i + 1}" for i in range(n)], k),
            "session": np.tile(names, n),
            metric: values.ravel(),
        }
    )


def squad(n=10, k=2, seed=0, te=1.0, between=4.0, mean=40.0):
    """Return invented values (athletes, sessions) with this typical error."""
    rng = np.random.default_rng(seed)
    return mean + between * rng.normal(size=(n, 1)) + te * rng.normal(size=(n, k))
