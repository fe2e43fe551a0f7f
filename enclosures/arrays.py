"""The array types that the whole package speaks: real and complex, frequency on axis 0."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

RealArray = NDArray[np.floating[Any]]
ComplexArray = NDArray[np.complexfloating[Any, Any]]
