"""The page started: where it listens, how a second start finds it, a sign to click on."""
