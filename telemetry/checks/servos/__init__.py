"""Servo currents: rising, heating, silent."""
