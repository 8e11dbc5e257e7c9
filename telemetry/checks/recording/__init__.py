"""The recording: what it cannot tell."""
