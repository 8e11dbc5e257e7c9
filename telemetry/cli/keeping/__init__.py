"""What commands share that change what the logbook holds, or name a part of it."""
