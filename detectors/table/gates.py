"""What a channel is doing, worked out once a window from target, power, motion and host state."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from detectors.table.running import Carried, held
from detectors.table.windows import ChannelWindows, Times
from shared.updates import Floats
from shared.words import Gate, HostState

Codes = NDArray[np.int8]

COLD_BELOW_C = 45.0
"""Without power and below this a channel counts as cold: warm to the hand, no hotter."""
HOLD_BAND_C = 3.0
HOLD_BAND_FRACTION = 0.02
PRINTING_AFTER_S = 20.0
"""Motion within this time of a held temperature is printing."""
STARTING_S = 60.0
"""After a restart a channel is starting: the trade allows readings half a minute to a minute."""
POWERED = 0.02
"""Power above this fraction counts as heating."""

_BUSY = (
    Gate.STARTING,
    Gate.COLD,
    Gate.COOLING,
    Gate.HOLDING,
    Gate.HEATING,
    Gate.PRINTING,
    Gate.HALTED,
)


def busiest(gates: Iterable[Gate]) -> Gate:
    """What a machine is doing whose channels do these; starting where nothing is known yet."""
    return max(gates, key=_BUSY.index, default=Gate.STARTING)


GATES = tuple(Gate)
CODES = {gate: code for code, gate in enumerate(GATES)}
"""Gates as numbers, for arrays."""


def marked(*gates: Gate) -> NDArray[np.bool_]:
    """By code, whether it is one of these gates: `marked(...)[codes]` says it of an array."""
    return np.array([gate in gates for gate in GATES])


class GateKeeper:
    """Works out the gates of all channels."""

    def __init__(self) -> None:
        first = {"gate": float(CODES[Gate.STARTING]), "moved_s": -math.inf}
        self._carried = Carried(first)

    def gates(
        self, windows: ChannelWindows, times: Times, hosts: Sequence[tuple[HostState, float]]
    ) -> Codes:
        """The gate from the end of each window on, shape (n, m); the last one's before a channel
        is present. `hosts` holds the host's state and last restart by window.
        """
        present, carried = windows.present, self._carried
        carried.grow(len(present))
        if not present.size:
            return np.empty(present.shape, dtype=np.int8)
        end_s, moving = np.array(times.end_s), np.array(times.moving) > 0.0
        moved_s = held(np.broadcast_to(end_s, present.shape), present & moving, carried["moved_s"])
        codes = _codes(windows, hosts, end_s, end_s - moved_s)
        found = held(codes.astype(np.float64), present, carried["gate"])
        carried["moved_s"], carried["gate"] = moved_s[:, -1], found[:, -1]
        return found.astype(np.int8)


def _codes(
    windows: ChannelWindows,
    hosts: Sequence[tuple[HostState, float]],
    end_s: Floats,
    since_move_s: Floats,
) -> Codes:
    celsius, target_c = windows.middle_c, windows.target_c
    halted = np.array([state is HostState.HALTED for state, _ in hosts])
    starting = np.array([state is HostState.STARTING for state, _ in hosts])
    starting |= end_s - np.array([restarted_s for _, restarted_s in hosts]) < STARTING_S
    band = np.maximum(HOLD_BAND_FRACTION * target_c, HOLD_BAND_C)
    wanted = target_c > 0.0
    rules = (
        (halted, Gate.HALTED),
        (starting, Gate.STARTING),
        (wanted & (celsius < target_c - band), Gate.HEATING),
        (wanted & (celsius > target_c + band), Gate.COOLING),
        (wanted & (since_move_s < PRINTING_AFTER_S), Gate.PRINTING),
        (wanted, Gate.HOLDING),
        (windows.power > POWERED, Gate.HEATING),
        (celsius > COLD_BELOW_C, Gate.COOLING),
    )
    codes = np.full(celsius.shape, CODES[Gate.COLD], dtype=np.int8)
    for where, gate in reversed(rules):
        codes[np.broadcast_to(where, codes.shape)] = CODES[gate]
    return codes
