"""The table of the error terms that an instrument reported."""

from collections.abc import Mapping

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.frequency_lists import same_frequencies
from sitegen.model.tables import REPORTED_TERM_COLUMNS
from sitegen.read.columns import read_table
from sitegen.read.files import Asked, Intake
from sitegen.read.frequencies import span
from sitegen.read.words import quoted


def read_reported_terms(
    intake: Intake, file: str, asked: Asked, frequency_hz: FloatArray
) -> Mapping[str, ComplexArray] | None:
    """Each term's values on the calibration's frequencies, or None and faults.

    A calibration without any readable sweep has no frequencies: then only the table is checked.
    """
    table = read_table(intake, file, asked, REPORTED_TERM_COLUMNS)
    if table is None:
        return None
    names, codes = table.words("term")
    found_hz = table.numbers("frequency_hz")
    values = table.numbers("re") + 1j * table.numbers("im")
    bad = ~(np.isfinite(found_hz) & np.isfinite(values)) | (codes < 0)
    if bad.any():
        row = int(np.argmax(bad))
        intake.tell(
            file,
            f"row {row + 1}",
            found="an empty or infinite entry",
            expected="a term and finite numbers in every row",
            remedy="Write the table again without such rows.",
            count=int(bad.sum()),
        )
        return None
    terms: dict[str, ComplexArray] = {}
    for code, name in sorted(enumerate(names), key=lambda entry: entry[1]):
        rows = codes == code
        if len(frequency_hz) and not same_frequencies(found_hz[rows], frequency_hz):
            intake.tell(
                file,
                f"term {quoted(name)}",
                found=span(found_hz[rows]),
                expected=f"the frequencies of the raw sweeps, {span(frequency_hz)}",
                remedy="Write the term at those frequencies, in increasing order.",
            )
            return None
        terms[name] = values[rows]
    return terms
