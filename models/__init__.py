"""The computation: from daily temperatures and bloom dates to forecasts and pollen warnings.

Data flow through three rooms, in this order: ``heat`` (degree-days of a season), ``bloom`` (thresholds,
forecast, skill), ``vineyard`` (pollen, walks). Nothing here knows the web, a database, a file format or a clock.
"""
