"""Monte Carlo lives of a chain or a block, with their confidence limits."""
