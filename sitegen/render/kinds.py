"""Which evidence has a place on the pages: not every kind of campaign asks for calibrations."""

from sitegen.model.results import CampaignResults


def asks_for_calibrations(results: CampaignResults, station: str = "") -> bool:
    """Whether calibrations and verifications are to be spoken of, on one station or on any.

    So it is where the record holds some; where a value lacks one; and where nothing is measured
    yet, if an analyser or a parameter of kind 'rf' announces them. Values taken without an
    analyser, and sweeps that came corrected, ask for none.
    """
    events = [each.record.station for each in results.calibrations]
    events += [each.record.station for each in results.verifications]
    if any(not station or name == station for name in events):
        return True
    here = {one.id for one in results.wafer_records if not station or one.station == station}
    if here:
        return any(
            "calibration missing" in one.standing_reasons
            for one in results.wafers
            if one.wafer in here
        )
    record = results.context.record
    kinds = {
        instrument.kind
        for one in record.stations
        if not station or one.id == station
        for instrument in one.instruments
    }
    planned = {parameter.kind for parameter in record.parameters}
    return "vna" in kinds and ("rf" in planned or not planned)
