"""Array types that every room uses."""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.floating[Any]]
ComplexArray = npt.NDArray[np.complexfloating[Any, Any]]
BoolArray = npt.NDArray[np.bool_]
