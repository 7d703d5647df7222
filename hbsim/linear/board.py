"""What a strip is made of: the board, and metal that replaces the board's own."""

from __future__ import annotations

from dataclasses import dataclass

from ..quantities import quantity
from .checks import Checked


@dataclass(frozen=True)
class Conductor(Checked):
    """Metal of a strip; given to a line, it replaces the board's (copper tape soldered on, for example).

    Parameters
    ----------
    thickness : float
        [m]
    conductivity : float
        [S/m]
    roughness : float
        Root-mean-square roughness of the face towards the dielectric. [m]
    loss_factor : float
        Skin-effect resistance over what the values above give, as one measured line tells it
        (microstrip/measured_loss.py): solder, creases, seams and edges cut by hand. It leaves the resistance at DC. [1]
    """

    thickness: float = quantity("m", minimum=0.0, above=True, meaning="metal thickness")
    conductivity: float = quantity("S/m", minimum=0.0, above=True, meaning="conductivity of the metal")
    roughness: float = quantity("m", 0.0, minimum=0.0, meaning="rms roughness of the face towards the dielectric")
    loss_factor: float = quantity("1", 1.0, "skin-effect resistance over what the metal would have", minimum=0.1)


@dataclass(frozen=True)
class Board(Checked):
    """A dielectric sheet with a ground plane below and strips above.

    Parameters
    ----------
    height : float
        Distance from the strip to the ground plane. [m]
    permittivity : float
        Relative permittivity of the dielectric. [1]
    loss_tangent : float
        [1]
    thickness, conductivity, roughness : float
        Of the metal, strips and ground plane alike: [m], [S/m], rms [m].
    """

    height: float = quantity("m", minimum=0.0, above=True, meaning="height of the strip above the ground plane")
    permittivity: float = quantity("1", minimum=1.0, meaning="relative permittivity")
    loss_tangent: float = quantity("1", minimum=0.0, maximum=1.0, meaning="dielectric loss tangent")
    thickness: float = quantity("m", minimum=0.0, above=True, meaning="metal thickness")
    conductivity: float = quantity("S/m", minimum=0.0, above=True, meaning="conductivity of the metal")
    roughness: float = quantity("m", 0.0, minimum=0.0, meaning="rms roughness of the metal towards the dielectric")

    @property
    def metal(self) -> Conductor:
        """The board's own metal."""
        return Conductor(self.thickness, self.conductivity, self.roughness)
