"""nightplan: plan a night of deep-sky imaging before dusk, without a network.

The library's public calls live in `nightplan.library`; they take and give astropy and astroplan
objects. The command line is `nightplan --help`.
"""
