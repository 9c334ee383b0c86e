"""One module for each command: `run(options) -> exit code`."""
