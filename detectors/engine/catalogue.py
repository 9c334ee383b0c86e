"""Which detectors watch: the one list to add a new one to."""

from collections.abc import Mapping

from detectors.detector import HostDetector, RowDetector, Rule, WindowDetector
from detectors.kinds.absent import AbsentDetector
from detectors.kinds.apart import ApartRule
from detectors.kinds.edges import EdgeRule
from detectors.kinds.excursions import ExcursionDetector
from detectors.kinds.flags import FlagDetector
from detectors.kinds.frozen import FrozenDetector
from detectors.kinds.heater import HeaterDetectors
from detectors.kinds.hostclock import HostClockDetector
from detectors.kinds.interference import InterferenceRule
from detectors.kinds.joint import JointJumpRule
from detectors.kinds.link import LinkDetector
from detectors.kinds.linkpart import LinkPartRule
from detectors.kinds.noise import NoiseDetector
from detectors.kinds.partof import PartOfRule
from detectors.kinds.rail import RailDetector
from detectors.kinds.reported import ReportedDetector
from detectors.kinds.rest import RestRule
from detectors.kinds.startup import StartupRule
from detectors.kinds.unpowered import UnpoweredRule
from detectors.kinds.unreadable import UnreadableDetector, UnreadableRule
from detectors.table.plan import ChannelPlan
from shared.chain import Chain


def host_detectors() -> list[HostDetector]:
    """Detectors of host state, messages, flags and silence."""
    return [
        LinkDetector(),
        AbsentDetector(),
        HostClockDetector(),
        UnreadableDetector(),
        FlagDetector(),
        ReportedDetector(),
    ]


def row_detectors(plan: ChannelPlan) -> list[RowDetector]:
    """Detectors that see single rows of one channel."""
    return [RailDetector(plan), ExcursionDetector(plan), FrozenDetector(plan)]


def window_detectors(plan: ChannelPlan) -> list[WindowDetector]:
    """Detectors that see windows of one channel."""
    return [NoiseDetector(plan), HeaterDetectors(plan)]


def rules(chains: Mapping[str, Chain]) -> list[Rule]:
    """Rules that tie reports together, in the order in which they see a report."""
    return [
        StartupRule(),
        JointJumpRule(),
        UnpoweredRule(),
        RestRule(chains),
        ApartRule(),
        InterferenceRule(),
        EdgeRule(),
        PartOfRule(),
        LinkPartRule(),
        UnreadableRule(),
    ]
