"""What holds for all tests."""

import signal
from contextlib import suppress

# A shell starts what it leaves in the background deaf to Ctrl-C, and its children with it:
# programs that a test interrupts would then never end.
with suppress(ValueError):
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
