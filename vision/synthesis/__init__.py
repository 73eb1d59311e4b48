"""Pictures of a nozzle tip with known truth, fast enough to be live."""

from vision.synthesis.drop import DropTexture
from vision.synthesis.light import Lamp, Light, ring_of_lamps
from vision.synthesis.optics import Optics, distort_point, undistort_point
from vision.synthesis.scene import render
from vision.synthesis.sensor import Sensor, expose, noise_dn
from vision.synthesis.texture import TipTexture, prepare_tip
from vision.synthesis.tip import BRIGHT_PLASTIC, DARK_PLASTIC, Bgr, Drop, Fill, Oval, Tip

__all__ = [
    "BRIGHT_PLASTIC",
    "DARK_PLASTIC",
    "Bgr",
    "Drop",
    "DropTexture",
    "Fill",
    "Lamp",
    "Light",
    "Optics",
    "Oval",
    "Sensor",
    "Tip",
    "TipTexture",
    "distort_point",
    "expose",
    "noise_dn",
    "prepare_tip",
    "render",
    "ring_of_lamps",
    "undistort_point",
]
