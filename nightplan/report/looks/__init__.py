"""How every picture looks: colours by meaning, contrast, hatches, saving."""
