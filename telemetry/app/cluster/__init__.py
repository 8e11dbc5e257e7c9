"""A Dask cluster that others run: its address, and the work given to its workers."""
