"""Factors of the output columns."""
import datetime
import math

BAR = 1e5
LENGTH = {"m": 1.0, "ft": 0.3048}


def days(n):
    return datetime.timedelta(days=math.ceil(n))
