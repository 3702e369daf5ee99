"""All responses together: draws from their posterior, and the joint predictive distribution."""
