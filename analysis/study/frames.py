"""Names for what stands in many signatures and cannot be told from one line of them."""

from typing import Any, TypeAlias

import numpy as np
import pandas as pd

Row: TypeAlias = Any  # of `DataFrame.itertuples()`: the frame's columns are its attributes
Values: TypeAlias = np.ndarray | pd.Series  # one for each row or cell
Number: TypeAlias = float | np.ndarray  # one for all, or one for each
MeanAndRange: TypeAlias = tuple[np.ndarray, np.ndarray, np.ndarray]  # mean, low, high
