"""Parts and blocks: series, parallel, k out of n, parts that stand in several places."""
