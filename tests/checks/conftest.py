"""Bare flights and their judging, as for trends."""

from tests.trends.conftest import make_case as make_case
from tests.trends.conftest import make_flight as make_flight
from tests.trends.conftest import make_judgement as make_judgement
from tests.trends.conftest import make_reading as make_reading
from tests.trends.conftest import make_season as make_season
