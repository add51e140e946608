"""From sky and target to rates, signal to noise and worth, over targets x filters x times."""
