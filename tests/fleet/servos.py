"""The current of a servo from a motor's torque and speed, with friction that sticks.

A motor that gives torque T turning at w draws the current I = T / kt through its winding; its
bridge takes from the node the power I^2 R + T w, so that at a lower voltage it draws more. What
holds against a steady load is first the friction of the gear, and only what is beyond it the motor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

FloatArray = NDArray[np.float64]

_STILL_RAD_S = 0.04  # below this a gear stands
_STRIBECK_RAD_S = 0.25
_WARMING_S = 110.0


@dataclass(frozen=True, kw_only=True)
class Servo:
    """One servo at its output shaft: N m, rad/s, A, Ohm."""

    drives: str
    side: float = 0.0  # 1 or -1 where the two sides go against each other
    stall_nm: float
    stall_a: float
    free_rad_s: float
    rated_v: float
    idle_a: float
    slides_nm: float  # friction while it moves
    sticks_nm: float  # and while it stands
    hinge_nm_rad: float  # load of the air at the reference speed
    travel_rad: float = 0.75
    gusts_nm: float = 0.0

    @property
    def kt(self) -> float:
        return self.stall_nm / self.stall_a

    @property
    def winding_ohm(self) -> float:
        return self.rated_v / self.stall_a


@dataclass(frozen=True, kw_only=True)
class ServoFault:
    """What is wrong with a servo on one day."""

    friction: float = 0.0  # so much more, as a part
    bias_nm: float = 0.0  # a linkage that pushes against a stop
    dead_from_s: float | None = None
    unplugged: bool = False  # or else its electronics go on drawing
    warms: float = 0.0  # so much more current when warm, as a part


SOUND = ServoFault()


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What a servo has to do: angle, speed and torques that do not hang on its voltage."""

    angle_rad: FloatArray
    speed_rad_s: FloatArray
    torque_nm: FloatArray  # of the motor, in the direction of its turning or holding


def move(
    servo: Servo,
    stick: FloatArray,
    air: FloatArray,
    gusts: FloatArray,
    *,
    dt_s: float,
    stiffness: float,
    fault: ServoFault = SOUND,
) -> Motion:
    """Follow a stick (-1 to 1) in air of this dynamic pressure (1 at the reference speed).

    ``stiffness`` is the friction of the day's grease, 1 on a warm one.
    """
    keep = float(np.exp(-dt_s / 0.035))
    angle = servo.travel_rad * lfilter([1 - keep], [1, -keep], stick)
    angle = lfilter([1 - keep], [1, -keep], angle)
    speed = np.clip(np.gradient(angle, dt_s), -servo.free_rad_s, servo.free_rad_s)
    load = servo.hinge_nm_rad * air * angle + servo.gusts_nm * gusts * np.sqrt(air)
    load = load + fault.bias_nm
    more = stiffness * (1.0 + fault.friction)
    slides, sticks = servo.slides_nm * more, servo.sticks_nm * more
    grip = slides + (sticks - slides) * np.exp(-((speed / _STRIBECK_RAD_S) ** 2))
    turning = np.abs(speed) / (np.abs(speed) + _STILL_RAD_S)
    # What shakes in flight loosens the grip of a gear that stands.
    loosened = sticks * (1.0 - 0.6 * np.minimum(air, 1.0))
    holding = np.sign(load) * np.maximum(np.abs(load) - loosened, 0.0)
    # A gear that binds is pushed and let go by its own controller also where it ought to stand.
    standing = np.abs(holding) + 0.15 * servo.slides_nm * fault.friction
    driving = np.sign(speed) * load + grip
    torque = turning * driving + (1.0 - turning) * standing
    return Motion(angle_rad=angle, speed_rad_s=np.abs(speed), torque_nm=torque)


def draw(
    servo: Servo, motion: Motion, node_v: FloatArray, *, dt_s: float, fault: ServoFault = SOUND
) -> FloatArray:
    """Current from the node at this voltage, A."""
    winding_a = np.abs(motion.torque_nm) / servo.kt
    winding_a = np.minimum(winding_a, node_v / servo.winding_ohm)
    driven_w = np.maximum(motion.torque_nm, 0.0) * motion.speed_rad_s
    watts = winding_a**2 * servo.winding_ohm + driven_w
    if fault.warms:
        keep = float(np.exp(-dt_s / _WARMING_S))
        warmth = lfilter([1 - keep], [1, -keep], watts) / max(float(watts.mean()), 1e-9)
        watts = watts * (1.0 + fault.warms * np.minimum(warmth, 1.5))
    amps = servo.idle_a + np.minimum(watts / node_v, node_v / servo.winding_ohm)
    if fault.dead_from_s is not None:
        gone = np.arange(len(amps)) * dt_s >= fault.dead_from_s
        amps = np.where(gone, 0.0 if fault.unplugged else servo.idle_a, amps)
    return np.asarray(amps)
