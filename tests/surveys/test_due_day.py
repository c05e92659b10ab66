"""A certificate holds up to and on its due day, which may be the very day of the calibration."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from mitigation.comparison import compare
from surveys.intake import check_case_folder
from surveys.models import Calibration, Instrument
from surveys.services.registers import add_calibration
from tests.factories import FOLLOW_UP_DAY, UserFactory, compared_case
from tests.surveys.case_folders import INSTRUMENTS, TABLES, as_files, as_zip, changed

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("calibrated_on", "due_on", "holds"),
    [
        (FOLLOW_UP_DAY - DAY, FOLLOW_UP_DAY, True),
        (FOLLOW_UP_DAY - 2 * DAY, FOLLOW_UP_DAY - DAY, False),
        (FOLLOW_UP_DAY, FOLLOW_UP_DAY, True),
        (FOLLOW_UP_DAY + DAY, FOLLOW_UP_DAY + DAY, False),
    ],
)
def test_a_reading_of_the_due_day_is_certified(calibrated_on, due_on, holds):
    case = compared_case()
    Calibration.objects.update(calibrated_on=calibrated_on, due_on=due_on)
    assert compare(case).rows[0].pair.after.finding.certified is holds


@pytest.mark.parametrize(("due_on", "accepted"), [(0, True), (-1, False)])
def test_the_register_takes_a_certificate_of_one_day(due_on, accepted):
    given = {
        "instrument": Instrument.objects.create(name="field meter C"), "by": UserFactory(),
        "quantity": "electric field", "unit": "V/m", "gain_percent": 6.0, "resolution": 0.1,
        "certificate": "K-7", "calibrated_on": FOLLOW_UP_DAY,
        "due_on": FOLLOW_UP_DAY + due_on * DAY,
    }  # fmt: skip
    if accepted:
        assert add_calibration(**given).due_on == FOLLOW_UP_DAY
        return
    with pytest.raises(ValidationError, match="not before that of the calibration"):
        add_calibration(**given)


@pytest.mark.parametrize(("due_on", "n_faults"), [("2026-01-10", 0), ("2026-01-09", 1)])
def test_a_case_folder_takes_a_certificate_of_one_day(due_on, n_faults):
    tables = dict(TABLES) | {"instruments.csv": changed(INSTRUMENTS, 2, due_on=due_on)}
    preview = check_case_folder(as_zip(as_files(tables)))
    assert len(preview.lines()) == n_faults
    assert all("a day not before calibrated_on" in line for line in preview.lines())
