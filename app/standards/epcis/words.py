"""The words of the Core Business Vocabulary 2.0 that stand bare in JSON, and the units known here.

Any other word is a full address of its own. Units are codes of UN/ECE Recommendation 20: the ones
that coffee, packing material and instruments are measured in (codes from memory).
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Final


def _words(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


ACTIONS: Final = frozenset({"ADD", "OBSERVE", "DELETE"})

STEPS: Final = _words("""
    accepting arriving assembling collecting commissioning consigning creating_class_instance
    cycle_counting decommissioning departing destroying disassembling dispensing encoding
    entering_exiting holding inspecting installing killing loading other packing picking receiving
    removing repackaging repairing replacing reserving retail_selling sampling sensor_reporting
    shipping staging_outbound stock_taking stocking storing transporting unloading unpacking
    void_shipping
""")

DISPOSITIONS: Final = _words("""
    active available completeness_inferred completeness_verified conformant container_closed
    container_open damaged destroyed dispensed disposed encoded expired in_progress in_transit
    inactive mismatch_class mismatch_instance mismatch_quantity needs_replacement no_pedigree_match
    non_conformant non_sellable_other partially_dispensed recalled reserved retail_sold returned
    sellable_accessible sellable_not_accessible stolen unavailable unknown
""")

STOPS: Final = frozenset({"non_sellable_other", "non_conformant", "recalled", "expired"})
"""Dispositions that, once they persist, let nothing be made or sent of what has them."""

PAPERS: Final = _words("""
    bol cert desadv inv pedigree po poc prodorder recadv rma testprd testres upevt
""")
"""Kinds of business transactions."""

PARTIES: Final = frozenset({"owning_party", "possessing_party", "location"})

ERRORS: Final = frozenset({"did_not_occur", "incorrect_data"})

ALERTS: Final = frozenset({"ALARM_CONDITION", "ERROR_CONDITION"})

MEASUREMENTS: Final = _words("""
    AbsoluteHumidity AbsorbedDose AbsorbedDoseRate Acceleration Radioactivity Altitude
    AmountOfSubstance AmountOfSubstancePerUnitVolume Angle AngularAcceleration AngularMomentum
    AngularVelocity Area Capacitance Conductance Conductivity Count Density Dimensionless
    DoseEquivalent DoseEquivalentRate DynamicViscosity ElectricCharge ElectricCurrent
    ElectricCurrentDensity ElectricFieldStrength Energy Exposure Force Frequency Illuminance
    Inductance Irradiance KinematicViscosity Length LinearMomentum Luminance LuminousFlux
    LuminousIntensity MagneticFlux MagneticFluxDensity MagneticVectorPotential Mass
    MassConcentration MassFlowRate MassPerAreaTime MemoryCapacity MolalityOfSolute MolarEnergy
    MolarMass MolarVolume Power Pressure RadiantFlux RadiantIntensity RelativeHumidity Resistance
    Resistivity SolidAngle SpecificVolume Speed SurfaceDensity SurfaceTension Temperature Time
    Torque Voltage Volume VolumeFlowRate VolumeFraction VolumetricFlux Wavenumber
""")

COMPONENTS: Final = _words("""
    x y z axial_distance azimuth height spherical_radius polar_angle elevation_angle easting
    northing latitude longitude altitude
""")

KILOGRAM: Final = "KGM"
PER_CENT: Final = "P1"
CELSIUS: Final = "CEL"
GRAM_PER_LITRE: Final = "GL"
METRE: Final = "MTR"

GRAMS: Final[Mapping[str, Decimal]] = {
    KILOGRAM: Decimal(1000),
    "GRM": Decimal(1),
    "MGM": Decimal("0.001"),
    "TNE": Decimal(1_000_000),
    "DTN": Decimal(100_000),
    "LBR": Decimal("453.59237"),
    "ONZ": Decimal("28.349523125"),
}
"""Grams in one of each unit of mass."""

UNITS: Final = frozenset(GRAMS) | _words("""
    C62 H87 EA PR DZN MTR CMT MMT KMT FOT INH YRD MTK CMK MMK FTK MTQ DMQ CMQ MMQ LTR MLT CLT DLT
    HLT GLL CEL FAH KEL P1 A93 GL GP
""")
"""Units that a quantity may be in."""

_IN_FULL: Final = re.compile(
    r"https?://(?:ref|ns)\.gs1\.org/cbv/(?:BizStep|Disp|BTT|SDT|ER)-(?P<word>[A-Za-z_]+)"
)


def bare(word: object) -> str:
    """Write a word of the vocabulary as JSON has it, whether it came so or as its web address."""
    text = word if isinstance(word, str) else ""
    full = _IN_FULL.fullmatch(text)
    return full["word"] if full else text
