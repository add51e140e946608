"""The night as a problem, solved with its bound; the plan, and the plan anew in the night."""
