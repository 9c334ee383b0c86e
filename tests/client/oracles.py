"""Independent libraries whose import warns, imported here once with the warning put aside."""

import warnings

with warnings.catch_warnings():
    # jsonrpcserver 5.0.9 reads its own data by a deprecated call.
    warnings.simplefilter("ignore", DeprecationWarning)
    import jsonrpcserver

__all__ = ["jsonrpcserver"]
