"""Documents for people: the report of a design review and the sheet for a press run."""
