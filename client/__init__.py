"""The socket side: transports, framing, JSON-RPC, profiles and the simulated host."""
