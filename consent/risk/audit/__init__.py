"""An audit: past cases of a centre read from a table, compared with what the model expected of them."""
