"""``python -m telemetry`` does the same as the command ``busbook``."""

from telemetry.cli import main

if __name__ == "__main__":
    main()
