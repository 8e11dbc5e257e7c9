"""Where the measured data of others lie: the folder that BUSBOOK_OPEN_DATA names.

- leaf_cell: G. Wiggins, S. Allu, H. Wang, Oak Ridge National Laboratory,
  doi 10.5281/zenodo.2580327; a laboratory cell.
- delivery_flight: T. A. Rodrigues et al., Scientific Data 2021, doi 10.1038/s41597-021-00930-x,
  flight 12; a multirotor.
- cobot_currents: M. Tyrovolas et al., UCI Machine Learning Repository 2024,
  doi 10.24432/C5J891; a robot arm.
- pouch_cell: SINTEF, cell type SLPBA842124HV, rate test at 25 degC, 23 October 2024, from the
  repository battery-data-alliance/battery-data-format; one lithium-polymer cell.
- ageing_cells: B. Saha and K. Goebel, Battery Data Set, NASA Prognostics Data Repository, 2007;
  two lithium-ion cells cycled to the end of their life.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("BUSBOOK_OPEN_DATA") or "no folder")
needs_data = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the measured data are not here (BUSBOOK_OPEN_DATA names no folder)"
)
FLIGHT = FOLDER / "delivery_flight" / "flight_12.csv"
POUCH = FOLDER / "pouch_cell" / "rate_25degC.csv"
AGEING = FOLDER / "ageing_cells" / "cells_a.csv"
ROBOT = FOLDER / "cobot_currents" / "dataset_02052023.csv"


def leaf_file(ending: str) -> Path:
    """The file of the laboratory cell whose name has this in it: "1C-Discharge", "HPPC-10C.csv"."""
    (path,) = (FOLDER / "leaf_cell").glob(f"*{ending}*")
    return path
