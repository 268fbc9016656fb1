"""Long computations: rows are the truth, Dask computes."""
