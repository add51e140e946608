"""The nights that follow: what they offer, which of them are clear, and what tonight is worth
beside them."""
