"""Makes dates.parquet and words.parquet with pyarrow: columns of kinds that our own writer does not write."""

import datetime

import pyarrow as pa
import pyarrow.parquet as pq

pq.write_table(
    pa.table({"part_no": ["A"], "qty": [1], "fitted_on": [datetime.date(2026, 3, 31)]}),
    "dates.parquet",
)
pq.write_table(
    pa.table(
        {
            "part_no": pa.array(["A", "B", "A"]).dictionary_encode(),
            "qty": pa.array([1, 2, 3], pa.int32()),
            "length [m]": pa.array([0.1, None, 2.5], pa.float32()),
        }
    ),
    "words.parquet",
    compression="snappy",
)
