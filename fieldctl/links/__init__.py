"""Bytes and their times, nothing else: a serial bus, MQTT, and the public memory pair.

`link` is the contract; `serial_bus` (with `port_notes`, who holds a port), `mqtt` (with `topics`) and
`memory` carry; `mosquitto` writes the broker's configuration that a park runs; `webhook` posts an alert. Each
is imported where it is used: the libraries behind them are heavy.
"""
