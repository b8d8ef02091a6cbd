"""The pages in a browser: counsellor, surgeon, theatre, clinic lead, and the patient's telephone."""
