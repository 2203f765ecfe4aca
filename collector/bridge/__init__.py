"""The sensor bridge: serial lines, read by profiles, become readings; readings are kept until a broker has them.

Bytes become frames (`framing`), frames become values by name (`splitting`, `modbus`), values become readings
(`values`); only `port` touches a serial line. What a device says and how is a *profile*: a TOML file, no code.
"""
