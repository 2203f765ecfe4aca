"""InfluxDB as the long memory: what the store holds is copied there, and read back when the store no longer has it."""
