"""Who said, saw and signed: an append-only ledger, the state of each case as a fold over it, and sealed paper."""
