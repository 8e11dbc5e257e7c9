"""Log and limits in, records out: quality, phases, stirs, sags, spikes."""
