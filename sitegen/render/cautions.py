"""Which cautions a page shows, decided from the records. They warn; they give no procedure.

The limits of hazardous voltage are those of IEC 61010-1, third edition, for normal conditions,
quoted from memory. The temperatures are common practice: skin is burnt by metal above about 60 °C,
and moisture freezes below 0 °C.
"""

from collections.abc import Iterable

from sitegen import units
from sitegen.model.campaign import Condition, Station
from sitegen.model.wafer import Thermal
from sitegen.render.phrases import stated
from sitegen.render.pieces import Caution

HOT_C = 60.0
COLD_C = 0.0
HAZARDOUS_DC_V = 60.0
"""IEC 61010-1, third edition, hazardous live, normal condition, DC; quoted from memory."""
HAZARDOUS_WET_DC_V = 35.0
"""The same in wet places; quoted from memory."""

LOCAL = "Local rules and the equipment's manuals come first."

TEXTS = {
    "cryogen": Caution(
        "Cryogens",
        "Liquid cryogens and their cold parts burn skin, displace the air of a room and burst"
        f" closed vessels. Only instructed people handle them, with ventilation. {LOCAL}",
    ),
    "light source": Caution(
        "Light source",
        "Lasers, ultraviolet lamps and bright microscope lamps harm eyes and skin, also by"
        " reflection from the wafer. The class on the source's label decides what is worn and who"
        f" may work. {LOCAL}",
    ),
    "heavy test head": Caution(
        "Heavy test head",
        "A test head or platen that is moved can crush hands and tip its support. Lock it before"
        f" anybody reaches under it. {LOCAL}",
    ),
}


def cautions(
    stations: Iterable[Station] = (),
    conditions: Iterable[Condition] = (),
    thermal: Iterable[Thermal] = (),
) -> tuple[Caution, ...]:
    """Cautions that these stations, set points and chuck temperatures call for."""
    conditions, thermal = tuple(conditions), tuple(thermal)
    hazards = {hazard for station in stations for hazard in station.hazards}
    temperatures = [condition.temperature_c for condition in conditions]
    temperatures += [each.set_point_c for each in thermal]
    temperatures += [each.chuck_reading_c for each in thermal]
    found = []
    highest = max((_greatest_voltage_v(condition) for condition in conditions), default=0.0)
    if "hazardous voltage" in hazards or highest > HAZARDOUS_DC_V:
        found.append(_voltage(highest))
    if temperatures and max(temperatures) >= HOT_C:
        found.append(_hot(max(temperatures)))
    if temperatures and min(temperatures) <= COLD_C:
        found.append(_cold(min(temperatures)))
    return (*found, *(text for hazard, text in TEXTS.items() if hazard in hazards))


def _greatest_voltage_v(condition: Condition) -> float:
    """Greatest voltage between two terminals, the common one at 0 V among them."""
    voltages = [value for name, value in condition.bias.items() if name.endswith("_v")]
    return max([0.0, *voltages]) - min([0.0, *voltages])


def _voltage(highest_v: float) -> Caution:
    reached = (
        f"The set points reach {stated(highest_v, 'V')} between two terminals"
        if highest_v > HAZARDOUS_DC_V
        else "The station's record names hazardous voltage, though no set point shown here"
        f" exceeds {HAZARDOUS_DC_V:g}{units.THIN}V"
    )
    return Caution(
        "Hazardous voltage",
        f"{reached}. Above {HAZARDOUS_DC_V:g}{units.THIN}V DC"
        f" ({HAZARDOUS_WET_DC_V:g}{units.THIN}V in wet places) a part is hazardous live under"
        " IEC 61010-1 (normal condition, third edition, quoted from memory). Chuck, probes and"
        " cables may stay charged after the source is off. Work only under the local electrical"
        " safety rules, by people licensed for it.",
    )


def _hot(highest_c: float) -> Caution:
    return Caution(
        "Hot chuck",
        f"Chuck and wafer reach {stated(highest_c, '°C')}. Metal above about"
        f" {HOT_C:g}{units.THIN}°C burns at a touch, and parts stay hot long after the set point"
        f" is lowered. {LOCAL}",
    )


def _cold(lowest_c: float) -> Caution:
    return Caution(
        "Cold chuck",
        f"Chuck and wafer go down to {stated(lowest_c, '°C')}. Cold metal burns skin;"
        " below the dew point water or ice bridges pads and probes, so the enclosure is purged dry"
        f" and opened only when warm. A purge gas can displace the air of a small room. {LOCAL}",
    )
