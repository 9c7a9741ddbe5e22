"""What the expected verdicts take as propagated uncertainty is what simulated calibrations give.

At 150 seeds a root mean square is known to 6 %, at 1,500 to 2 %; the bands are three of these.
"""

import pytest

from tests.simulate.demo_expected import PROPAGATED_U
from tests.simulate.seeds import METHODS, Method
from tests.simulate.spread import spread_of


@pytest.mark.parametrize("method", METHODS)
def test_spread_is_the_expected_one(method: Method) -> None:
    assert spread_of(method, 150) == pytest.approx(PROPAGATED_U[method], rel=0.18)


@pytest.mark.full
@pytest.mark.parametrize("method", METHODS)
def test_spread_is_the_expected_one_in_full(method: Method) -> None:
    assert spread_of(method, 1_500) == pytest.approx(PROPAGATED_U[method], rel=0.06)
