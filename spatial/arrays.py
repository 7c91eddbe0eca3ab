"""Names of the array types that the analysis passes around."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
NameArray: TypeAlias = npt.NDArray[np.object_]
AnyArray: TypeAlias = npt.NDArray[np.generic]
