"""How many additions are left is said as what it is: a count of additions of a size."""

import pytest

from huehold.detection.forecast import Forecast
from huehold.report.advice import advice
from huehold.watching import Moment


def told(middle, low, high):
    forecast = Forecast(0.1, "will probably fade", None, middle, low, high)
    return advice(Moment(9.0, None, (), (), "start colour", 0.0, 60.0, forecast, "running", False))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((4.2, 4.2, 4.2), "perhaps 4 more if they are as large as the last few"),
        ((4.2, 2.1, 6.4), "perhaps 2 to 6 more if they are as large as the last few"),
        ((1.6, 0.2, 2.9), "perhaps 1 to 3 more if"),
        ((1.0, 0.5, 1.5), "add a single drop"),
    ],
)
def test_what_is_left_is_a_range_for_additions_of_one_size(given, words):
    assert words in told(*given)
