"""Consent and aftercare papers for one patient's cataract operation, for a licensed clinician to review and sign."""

__version__ = "0.1.0"
