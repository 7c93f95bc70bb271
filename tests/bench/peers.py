"""Reads the time and the light of every row with one of three libraries: peers.py LIBRARY LOG.csv

Times become UTC instants; missing values, values below zero and over 4000 are left out; printed are how
many are left and their median: less than the program does, so the comparison favours the peer."""
import sys

library, log = sys.argv[1:]
if library == "pandas":
    import pandas
    rows = pandas.read_csv(log, usecols=["timestamp", "par"])
    rows["timestamp"] = pandas.to_datetime(rows["timestamp"], utc=True, format="ISO8601")
    kept = rows["par"][rows["par"].between(0, 4000)]
    print(len(kept), kept.median(), rows["timestamp"].max())
elif library == "polars":
    import polars
    rows = polars.scan_csv(log, schema_overrides={"timestamp": polars.String, "par": polars.Float64})
    rows = rows.select(polars.col("timestamp").str.to_datetime("%Y-%m-%dT%H:%M:%S%Z", time_zone="UTC"), "par")
    kept = polars.col("par").filter(polars.col("par").is_between(0, 4000))
    print(rows.select(kept.len().alias("n"), kept.median().alias("median"), polars.col("timestamp").max())
          .collect(engine="streaming"))
elif library == "duckdb":
    import duckdb
    print(duckdb.sql(f"""SELECT count(*) FILTER (par BETWEEN 0 AND 4000), median(par) FILTER (par BETWEEN 0 AND 4000), max(timestamp)
        FROM read_csv('{log}', columns = {{'timestamp': 'TIMESTAMPTZ', 'par': 'DOUBLE', 'temp_c': 'DOUBLE', 'batt_v': 'DOUBLE'}})"""))
else:
    sys.exit(f"no part for {library}")
