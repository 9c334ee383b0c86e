"""How often heat moves, sensors are read and the host speaks; each a multiple of the last."""

STEP_S = 0.05
"""Step of the physics."""
READING_S = 0.1
"""Time between two readings, and two settings of power."""
PERIOD_S = 0.3
"""Time from one update of the host to the next, give or take."""
