"""The recording file: write, read, replay, import, export."""
