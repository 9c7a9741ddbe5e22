"""What a station's Touchstone file costs, as a ratio to scikit-rf's reading of the same file.

A sweep of 201 points and two ports. Here: its bytes read, their SHA-256, every check and the
conversion; scikit-rf: `Network(file)`, which checks little and takes no digest.
"""

import hashlib
from pathlib import Path
from statistics import median

import numpy as np
import pytest
from skrf import Network

from sitegen.read.files import Intake
from sitegen.read.touchstone import file_sweep
from tests import touchstone_files as tf
from tests.benchmarks.processor_time import times_s

FREQUENCY_HZ = np.linspace(10e6, 67e9, 201)
FILES = 20
MOST_OF_SCIKIT_RF = 0.7
"""0.30 to 0.54 where it was written, the most for dB and angle; copying comes on top, and gathering
as a whole must cost at most one reading (`test_gathering_cost`)."""


@pytest.mark.parametrize("written_as", ["RI", "MA", "DB"])
def test_a_file_read_and_checked_against_scikit_rf(written_as: str, tmp_path: Path) -> None:
    content = tf.touchstone(FREQUENCY_HZ, tf.line(FREQUENCY_HZ), written_as)
    paths = [tmp_path / f"die_{number}.s2p" for number in range(FILES)]
    for path in paths:
        path.write_bytes(content)

    def here() -> None:
        intake = Intake(tmp_path)
        for path in paths:
            content = path.read_bytes()
            assert hashlib.sha256(content).hexdigest()
            assert file_sweep(intake, path.name, content) is not None

    def there() -> None:
        for path in paths:
            assert Network(str(path)).s.shape == (201, 2, 2)

    here()
    there()
    ours_s, theirs_s = median(times_s(here, 7)) / FILES, median(times_s(there, 7)) / FILES
    print(f"{written_as}: here {ours_s * 1e6:.0f} us, scikit-rf {theirs_s * 1e6:.0f} us")
    assert ours_s <= MOST_OF_SCIKIT_RF * theirs_s
