"""Every kind that a plain log can show, and what its worlds must tell for it not to be blind.

The needs are those that docs/events.md names as *blind*, and sizes lie above its *least*.
`unreadable` has no row: a plain log holds no message that could be one.
"""

from shared.words import Kind
from tests.quality.worlds import faults_heat, faults_link, faults_noise, faults_reading
from tests.quality.worlds.scene import Fault

CODES = {"codes": True}
POWER = {"power": "duty", "target": True}
MEAN_POWER = {"power": "mean", "target": True}
UNCUT = {"codes": True, "cuts": False}
STATE, UPTIME = {"state": True}, {"uptime": True}

FAULTS: dict[Kind, Fault] = {
    Kind.CODE_HIGH: Fault(faults_reading.open_lead, host=UNCUT),
    Kind.CODE_LOW: Fault(faults_reading.shorted, host=UNCUT),
    Kind.CONVERTER_FLAG: Fault(faults_reading.flagged, host={"flags": True}),
    Kind.CONTACT_BREAK: Fault(faults_reading.breaks, longest_s=2.0),
    Kind.SPIKE: Fault(faults_reading.spikes, longest_s=4.0, fresh=True),
    Kind.BIT_FLIP: Fault(faults_reading.bit_flips, longest_s=2.0, fresh=True, host=UNCUT),
    Kind.STEP: Fault(faults_reading.step, longest_s=2.0),
    Kind.JOINT_JUMP: Fault(faults_reading.joint_jump, longest_s=2.0),
    Kind.NOISE_RISE: Fault(faults_noise.noise_rise, longest_s=4.0, fresh=True),
    Kind.INTERFERENCE: Fault(
        faults_noise.interferes,
        longest_s=1.0,
        fresh=True,
        host={"motion": True, "fan": True, **POWER},
        hours=3.0,
        style="several",
    ),
    Kind.MAINS_BEAT: Fault(
        faults_noise.mains_beat,
        longest_s=1.0,
        fresh=True,
        hours=2.0,
        style="one long",
        smooth=True,
    ),
    Kind.FROZEN: Fault(
        faults_noise.frozen, longest_s=2.0, fresh=True, hours=2.0, style="one long", host=POWER
    ),
    Kind.STALE: Fault(faults_link.stale, longest_s=10.0),
    Kind.LINK_LOSS: Fault(faults_link.link_loss, host=STATE),
    Kind.RESTART: Fault(faults_link.restart, host=UPTIME),
    Kind.STARTUP_TRANSIENT: Fault(
        faults_reading.settling, longest_s=4.0, host={**UPTIME, "cuts": False}
    ),
    Kind.HALT: Fault(faults_link.halt, host=STATE),
    Kind.UNKNOWN_STATE: Fault(faults_link.unknown_state, host=STATE),
    Kind.HOST_CLOCK: Fault(faults_link.host_clock, host=UPTIME, longest_s=4.0),
    Kind.OFFSET_COLD: Fault(faults_reading.offset_cold, style="several", host=POWER),
    Kind.DRIFT: Fault(
        faults_heat.drift,
        longest_s=5.0,
        hours=3.5,
        style="one long",
        host=MEAN_POWER,
        smooth=True,
    ),
    Kind.NO_RISE: Fault(
        faults_heat.no_rise, longest_s=4.0, hours=2.0, style="one long", host=POWER
    ),
    Kind.RISE_UNPOWERED: Fault(faults_heat.rise_unpowered, longest_s=2.0, host=POWER),
}
