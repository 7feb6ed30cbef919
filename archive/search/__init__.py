"""Finding: the index, the query language and the ranking. It reaches items only through `archive.access`."""
