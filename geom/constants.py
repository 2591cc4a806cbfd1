"""Physical constants."""

FARADAY = 96485.33212331
"""Faraday constant [C/mol]; exact product of e and N_A in the SI of 2019 (CODATA 2018 and 2022)."""

ZERO_CELSIUS = 273.15
"""0 °C in kelvin, by definition."""

ROOM_TEMPERATURE = ZERO_CELSIUS + 20.0
"""Air of a heated room [K]; common practice, no source."""

ROOM_RISE = 15.0
"""Rise of the bath that is put up with where the job says nothing [K]; common practice, no source."""
