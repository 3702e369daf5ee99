"""An invented response for the tests of surfaces."""

import pytest

from pwindow.surfaces.model.responses import ResponseKind


@pytest.fixture(scope="session")
def plain_kind():
    """A response modelled as it is, without covariates."""
    return ResponseKind(name="response", label="response", unit="", key="response", log=False, covariates=())
