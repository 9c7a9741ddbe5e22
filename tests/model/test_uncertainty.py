"""What a parameter's declared sources say of a value."""

from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from sitegen.model.campaign import Parameter
from sitegen.model.decision import Decision, Prior
from sitegen.model.uncertainty import standard_uncertainty
from tests.compute.settings import parameter


def declared(*sources: dict[str, float], **changes: Any) -> Parameter:
    named = tuple({"source": "cable", **one} for one in sources)
    return Parameter.model_validate(parameter("P", uncertainty=named, **changes))


def test_sources_add_in_quadrature() -> None:
    """3² + 4² + 12² = 13², in whatever order and of whatever sign the value is."""
    three = ({"absolute": 3.0}, {"absolute": 4.0}, {"relative": 0.12})
    for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0)):
        found = standard_uncertainty(declared(*(three[at] for at in order)), [100.0, -100.0])
        assert found.tolist() == pytest.approx([13.0, 13.0])
    single = standard_uncertainty(declared({"relative": 0.01}), [0.0, -0.0, -5.0, np.nan])
    assert single.tolist() == pytest.approx([0.0, 0.0, 0.05, np.nan], nan_ok=True)


def test_none_is_declared() -> None:
    assert np.isnan(standard_uncertainty(declared(), [1.0, 2.0])).all()
    assert standard_uncertainty(declared({"absolute": 1.0}), []).shape == (0,)


def test_squares_beyond_numbers_are_not_taken() -> None:
    """1e200 and 1e-200 have squares of infinity and 0; the size of float32 values stays too."""
    assert standard_uncertainty(declared({"relative": 3.0}), 1e200) == pytest.approx(3e200)
    small = declared({"absolute": 3e-200}, {"absolute": 4e-200})
    assert standard_uncertainty(small, 1.0) == pytest.approx(5e-200)
    largest = declared({"absolute": 1e30}, {"relative": 1e30})
    assert standard_uncertainty(largest, np.float32(1.0)) == pytest.approx(np.sqrt(2.0) * 1e30)


@pytest.mark.parametrize("wrong", [{"absolute": 1e31}, {"relative": 1e300}])
def test_absurd_sources_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValidationError, match=f"less than or equal to {10**30}"):
        declared(wrong)


def test_absurd_coefficients_factors_and_priors_are_refused() -> None:
    for sign in (1.0, -1.0):
        assert declared(temperature_coefficient_per_c=sign * 1e30)
        with pytest.raises(ValidationError, match=str(10**30)):
            declared(temperature_coefficient_per_c=sign * 1e31)
    for name in ("coverage_factor", "guard_factor", "uncertainty_share_max"):
        with pytest.raises(ValidationError, match=str(10**30)):
            Decision.model_validate({"rule": "guarded", name: 1e31})
    for name in ("mean", "standard_deviation"):
        given = {"mean": 0.0, "standard_deviation": 1.0, "basis": "lots", name: 1e31}
        with pytest.raises(ValidationError, match=str(10**30)):
            Prior.model_validate(given)


def test_the_tolerance() -> None:
    assert declared(lower=1.0, upper=3.0).tolerance == 2.0
    assert declared(lower=1.0).tolerance is None and declared().tolerance is None
