"""Bare flights of a book, as for trends, and an empty book."""

from tests.book.conftest import book as book
from tests.trends.conftest import make_flight as make_flight
from tests.trends.conftest import make_season as make_season
