"""Names of the array types that the analysis passes around."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import sparse

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
NameArray: TypeAlias = npt.NDArray[np.object_]
AnyArray: TypeAlias = npt.NDArray[np.generic]

if TYPE_CHECKING:
    Links: TypeAlias = sparse.csr_array[np.float64, tuple[int, int]]
else:
    Links: TypeAlias = sparse.csr_array
