"""The temperature's part of a value's uncertainty."""

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.temperature import temperature_uncertainty
from tests.compute.test_curve_values import VTH, parameter, setting


def test_it_is_the_coefficient_times_the_uncertainty_of_the_surface() -> None:
    """0.8 mV/°C times 0.5 °C; without a coefficient, or another condition, it is not stated."""
    bare = parameter("GM", "greatest transconductance", "mS", places={"stepped_at": 0.05})
    here = setting(VTH, bare)
    rows = pd.DataFrame(
        {
            "parameter": ["VTH", "GM", "VTH", "OTHER"],
            "condition": ["RT", "RT", "HOT", "RT"],
            "value": [400.0, 1.0, 400.0, 1.0],
        }
    )
    found = temperature_uncertainty(rows, here.campaign, here.thermal)
    assert found[0] == pytest.approx(0.4)
    assert np.isnan(found[1:]).all()
    assert np.isnan(temperature_uncertainty(rows, here.campaign, ())).all()
