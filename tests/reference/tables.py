"""Reading the reference values: see README.md beside this file for where each comes from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

FOLDER = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class Network:
    """Values at places, links between them, and what R's spdep says of every place."""

    values: npt.NDArray[np.float64]
    adjacency: npt.NDArray[np.bool_]
    local: pd.DataFrame


def table(name: str) -> pd.DataFrame:
    """Return one of the CSV files of this folder."""
    return pd.read_csv(FOLDER / f"{name}.csv")


def network(name: str, *, value: str = "v", first: int = 0) -> Network:
    """Return a data set with its links; `first` is the number of the first place."""
    local = table(f"{name}_local")
    edges = table(f"{name}_edges").to_numpy() - first
    adjacency = np.zeros((len(local), len(local)), dtype=bool)
    adjacency[edges[:, 0], edges[:, 1]] = True
    return Network(local[value].to_numpy(dtype=float), adjacency, local)
