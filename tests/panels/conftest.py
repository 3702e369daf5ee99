"""Pages on the demo data, whose numbers are worked out once."""

import pytest

from tests.helpers.remembered import remembering


@pytest.fixture(scope="module", autouse=True)
def remembered():
    with remembering():
        yield
